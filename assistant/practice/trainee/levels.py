"""How much a trainee is told: led, prompted, recall, assessment; and how far waits may be compressed."""

from __future__ import annotations

import queue
import random
from dataclasses import dataclass

from assistant.errors import UsageError
from assistant.language.sentences import duration
from assistant.practice.trainee.leaving import leave_if_asked
from assistant.procedure.model.plan import CYCLE, WAIT, WET, Plan, Step
from assistant.speaking.estimate import seconds

LED, PROMPTED, RECALL, ASSESSMENT = "led", "prompted", "recall", "assessment"
LEVELS = (LED, PROMPTED, RECALL, ASSESSMENT)
_CHOICES = 3
_NUMBERS = ("one", "two", "three", "four")


@dataclass(frozen=True, slots=True)
class Level:
    """`brief`: short wording; `why`: reasons are shown; `asks_next`: the trainee says what comes next; `drawing`:
    the enclosure is shown; `announces`: mishaps to come are named before the start."""

    id: str
    brief: bool
    why: bool
    asks_next: bool
    drawing: bool
    announces: bool


_LEVELS = {
    LED: Level(LED, False, True, False, True, True),
    PROMPTED: Level(PROMPTED, True, False, False, True, True),
    RECALL: Level(RECALL, True, False, True, True, False),
    ASSESSMENT: Level(ASSESSMENT, True, False, False, False, False),
}


def level(name: str) -> Level:
    """Raises UsageError for an unknown level."""
    if name not in _LEVELS:
        raise UsageError(f"There is no level '{name}'.", expected="one of " + ", ".join(LEVELS))
    return _LEVELS[name]


@dataclass(frozen=True, slots=True)
class Question:
    """"What comes next?" with numbered `choices`; `right` is the number, from 1."""

    choices: tuple[str, ...]
    right: int

    def text(self) -> str:
        return "What comes next? " + " ".join(f"{n}: {choice}" for n, choice in enumerate(self.choices, 1))

    def shown(self) -> str:
        """As text on a screen, a choice a line."""
        return "What comes next? Type its number." + "".join(f"\n  {n}  {choice}" for n, choice in enumerate(self.choices, 1))

    def answer(self, lines: queue.Queue[str]) -> int:
        """The number chosen, as typed ("2" or "two"), from the next line that isn't empty; 0 for anything else.
        "quit" raises KeyboardInterrupt."""
        text = ""
        while not text:
            text = lines.get().strip().lower()
        leave_if_asked(text)
        number = _NUMBERS.index(text) + 1 if text in _NUMBERS else int(text) if text.isascii() and text.isdigit() else 0
        return number if 1 <= number <= len(self.choices) else 0


def question(plan: Plan, step: Step, seed: int | str) -> Question:
    """The step among others that come later or came before; seeded by the step, so that a drill repeats."""
    chance = random.Random(f"recall:{seed}:{step.id}")
    others = list(dict.fromkeys(s.brief or s.say for s in plan.steps if (s.brief or s.say) != (step.brief or step.say)))
    picked = chance.sample(others, min(_CHOICES - 1, len(others)))
    right = chance.randrange(len(picked) + 1)
    picked.insert(right, step.brief or step.say)
    return Question(tuple(picked), right + 1)


def check_compression(plan: Plan, factor: float) -> None:
    """A compressed wait must last longer than the line that announces it. Raises UsageError naming file and line."""
    if not factor >= 1.0 or factor == float("inf"):
        raise UsageError(f"Waits can't be compressed by {factor:g}.", expected="a factor of 1 or more")
    most, step, length_ms = min(
        ((ms / 1000 / seconds(_announced(plan, step, ms)), step, ms) for step in plan.steps if (ms := _length_ms(plan, step))),
        key=lambda one: one[0], default=(factor, None, 0),
    )
    if step is not None and factor > most:
        raise UsageError(
            f"Compressed {factor:g} times, a wait of {length_ms / 1000:g} s is over before it is announced.",
            where=f"{step.file}:{step.line}" if step.file else step.id, expected=f"at most {int(most)} times in this procedure",
            try_next=f"--factor {int(most)}",
        )


def _announced(plan: Plan, step: Step, length_ms: int) -> str:
    return f"{duration(plan.language, length_ms)} to wait for {step.surface or step.cycle or 'all'}."


def _length_ms(plan: Plan, step: Step) -> int:
    """How long a step has to be waited for, 0 where it hasn't."""
    if step.kind == WAIT:
        return max((plan.cycles[c].duration_ms for c in step.wait_for if c in plan.cycles), default=0)
    return step.contact_ms if step.kind == WET else plan.cycles[step.cycle].duration_ms if step.kind == CYCLE else 0

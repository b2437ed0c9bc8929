"""At a headset the trainee is asked aloud what comes next, and answers before anything of it is shown or spoken.

A state machine without clock or sound: it is told what came in and when, and says what to speak. The answer is a digit,
said (the listener's grammar for one sign of a number) or keyed. What wasn't understood is the listener's failure and
never counts against the trainee.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from assistant.language import vocabulary as words
from assistant.practice.trainee.levels import Question, question
from assistant.procedure.model.plan import Plan
from assistant.session import inputs
from assistant.session.facts.base import Fact
from assistant.session.facts.steps import StepStarted

EXPECTS = "number sign"
LISTENED_FOR = frozenset({words.STOP, words.REPEAT, words.NO})
SILENCE_S = 15.0  # before it is asked again, and before it counts as not known. Common practice, no source.
MISSES = 3  # answers not understood before the trainee is told and the session goes on
_NUMBERS = ("one", "two", "three", "four")
_CLOSED, _WAITING, _ASKED, _ANSWERED = "closed", "waiting", "asked", "answered"


class SpokenRecall:
    """One question at a time. `show`: what is asked and answered, for the screen. `off`: nothing is ever asked."""

    def __init__(
        self, plan: Plan, seed: int | str, show: Callable[[str], None] = lambda text: None, *, off: bool = False,
    ) -> None:
        self._plan, self._seed, self._show, self._off = plan, seed, show, off
        self._mode = _CLOSED
        self._step = ""
        self._asked: Question | None = None
        self._say = ""
        self._since_s = 0.0
        self._reminded = False
        self._misses = 0
        self._answers: list[inputs.Recalled] = []

    @property
    def open(self) -> bool:
        """A question is to be asked, is asked, or its answer is being told: what comes next stays hidden."""
        return self._mode != _CLOSED

    @property
    def listens(self) -> bool:
        """An answer is waited for."""
        return self._mode == _ASKED

    def begins_at(self, facts: Sequence[Fact]) -> int | None:
        """Where in `facts` what is to be recalled begins: a step of the main line. None where there is none."""
        return None if self._off else next((
            n for n, f in enumerate(facts) if isinstance(f, StepStarted) and not f.branch and not f.step.startswith("bridge:")
        ), None)

    def begin(self, step_id: str) -> None:
        """Ask for this step as soon as nothing is being said."""
        self._step, self._asked = step_id, question(self._plan, self._plan.step(step_id), self._seed)
        self._mode, self._say, self._reminded, self._misses = _WAITING, "", False, 0

    def look(self, now_s: float, speaking: bool) -> str:
        """What is to be spoken now, or "". `now_s`: any steady clock; `speaking`: the assistant sounds or is about to."""
        if not self.open or speaking:
            self._since_s = now_s
            return ""
        if self._mode == _WAITING:
            self._mode, self._since_s = _ASKED, now_s
            return self._speak(self._question())
        if self._say:
            text, self._say = self._say, ""
            return self._speak(text)
        if self._mode == _ANSWERED:
            self._mode = _CLOSED
        elif now_s - self._since_s >= SILENCE_S:
            if self._reminded:
                self._answered(0, "")
            else:
                self._reminded = True
                return self._speak(self._which())
        return ""

    def take(self, given: inputs.Input) -> bool:
        """True where `given` was for the question, or came while the next step is hidden and so can't be for it. A stop is
        never kept back: it ends the question."""
        if not self.open or not isinstance(given, inputs.Word | inputs.Value | inputs.Misheard):
            return False
        if isinstance(given, inputs.Word) and given.word == words.STOP:
            self._mode = _CLOSED
            return False
        if self._mode == _ASKED:
            self._hear(given)
        return True

    def next(self) -> inputs.Recalled | None:
        """Answers for the record, each once."""
        return self._answers.pop(0) if self._answers else None

    def _hear(self, given: inputs.Word | inputs.Value | inputs.Misheard) -> None:
        assert self._asked is not None
        if isinstance(given, inputs.Misheard):
            if given.reason not in ("while speaking", "too short for a word"):
                self._missed()
            return
        text = given.value if isinstance(given, inputs.Value) else given.said if given.source != "voice" else ""
        if text in ("1", "2", "3", "4") and int(text) <= len(self._asked.choices):
            self._answered(int(text), _NUMBERS[int(text) - 1])
        elif isinstance(given, inputs.Word) and given.word == words.NO:
            self._answered(0, "no")
        elif isinstance(given, inputs.Word) and given.word == words.REPEAT:
            self._say = self._question()
        elif isinstance(given, inputs.Value):
            self._missed()

    def _missed(self) -> None:
        self._misses += 1
        if self._misses < MISSES:
            self._say = f"I didn't follow. {self._which()}"
            return
        self._mode, self._say = _ANSWERED, f"I can't make it out, so it doesn't count. It is {self._right()}"

    def _answered(self, chosen: int, said: str) -> None:
        assert self._asked is not None
        self._answers.append(inputs.Recalled(self._step, self._asked.choices, self._asked.right, chosen))
        heard = f"You said {said}. " if chosen else ""
        told = f"{heard}Right." if chosen == self._asked.right else f"{heard}It is {self._right()}"
        self._mode, self._say = _ANSWERED, told

    def _question(self) -> str:
        assert self._asked is not None
        choices = " ".join(f"{_NUMBERS[n].capitalize()}: {text}" for n, text in enumerate(self._asked.choices))
        return f"What comes next? {choices}"

    def _which(self) -> str:
        assert self._asked is not None
        *first, last = _NUMBERS[: len(self._asked.choices)]
        return f"Say {', '.join(first)} or {last}. Say no if you don't know."

    def _right(self) -> str:
        assert self._asked is not None
        return f"{_NUMBERS[self._asked.right - 1]}: {self._asked.choices[self._asked.right - 1]}"

    def _speak(self, text: str) -> str:
        self._show(f"           {text}")
        return text

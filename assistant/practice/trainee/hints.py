"""What a level of practice shows beside the assistant's own lines."""

from __future__ import annotations

import itertools
import queue

import click

from assistant.practice.enclosure import schematic
from assistant.practice.enclosure.disturbances import Disturbance
from assistant.practice.enclosure.drills import Drill
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator.answering import Answering
from assistant.practice.trainee.levels import level, question
from assistant.procedure.model.plan import Plan, Step
from assistant.session import inputs
from assistant.session.facts.base import Fact
from assistant.session.facts.lines import LineSpoken
from assistant.session.facts.steps import StepStarted
from assistant.session.state import State


def at_steps(facts: tuple[Fact, ...]) -> list[tuple[Fact, ...]]:
    """The facts in their order, parted before each step that begins: what was said until then is shown before anybody is
    asked what comes next."""
    starts = [0, *(n for n, fact in enumerate(facts) if n and isinstance(fact, StepStarted)), len(facts)]
    return [facts[a:b] for a, b in itertools.pairwise(starts) if a < b]


class Hints:
    """What a level shows beside the assistant's own lines. `lines`: where answers are typed, None where nobody types. `person`:
    somebody practises, and is shown what they would see at the enclosure."""

    def __init__(self, plan: Plan, level_name: str, seed: int | str, as_json: bool, lines: queue.Queue[str] | None, person: bool) -> None:
        self._answered: list[inputs.Recalled] = []
        self._lines = lines
        self.plan, self.level, self.seed = plan, level(level_name), seed
        self.err = as_json
        self.waiting = False
        self._person = person
        self._look: Answering | None = None
        self._world: EnclosureSim | None = None

    def world(self, world: EnclosureSim, drills: tuple[Drill | Disturbance, ...]) -> None:
        self._world = world
        self._look = Answering(world, {}) if self._person else None
        if self.level.announces:
            for drill in drills:
                self._say(f"In this drill: {drill.tell}.")

    def before(self, facts: tuple[Fact, ...]) -> None:
        """Before the assistant's lines are shown: what the trainee should know without them."""
        for fact, step in self._begun(facts):
            if self.level.asks_next and not fact.branch:
                self._ask(step)

    def _begun(self, facts: tuple[Fact, ...]) -> list[tuple[StepStarted, Step]]:
        return [(f, self.plan.step(f.step)) for f in facts if isinstance(f, StepStarted) and not f.step.startswith("bridge:")]

    def facts(self, state: State, facts: tuple[Fact, ...], now_ms: int) -> None:
        """After the assistant's lines."""
        self.waiting = state.mode == "wait"
        for fact in facts:
            seen = self._look.seen(fact.text) if self._look is not None and isinstance(fact, LineSpoken) else ""
            if seen:
                self._say(f"           You see: {seen}")
        for _, step in self._begun(facts):
            if self.level.why and step.why:
                self._say(f"           Why: {step.why}")
            if self.level.drawing and step.kind == "wait" and self._world is not None:
                self._say(schematic.blocks(self._world, now_ms))

    def _ask(self, step: Step) -> None:
        """Before the step is shown; the session's clock stands still meanwhile."""
        asked = question(self.plan, step, self.seed)
        right = f"{asked.right}: {asked.choices[asked.right - 1]}"
        if self._lines is None:  # a persona does it, and shows what comes
            self._say(f"{asked.text()}\nIt is {right}")
            return
        self._say(asked.shown())
        chosen = asked.answer(self._lines)
        self._answered.append(inputs.Recalled(step.id, asked.choices, asked.right, chosen))
        self._say("Right." if chosen == asked.right else f"No. It is {right}")

    def answer(self, now_ms: int) -> inputs.Recalled | None:
        """What was answered since, for the record; each once."""
        return self._answered.pop(0) if self._answered else None

    def _say(self, text: str) -> None:
        click.echo(text, err=self.err)

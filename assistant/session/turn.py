"""One decision being made: facts so far and the state they lead to."""

from __future__ import annotations

from assistant.procedure.model.plan import Plan, Step
from assistant.session.asking import prompts
from assistant.session.evolve import at_hand, evolve
from assistant.session.facts import lines, troubles
from assistant.session.facts.base import Fact
from assistant.session.lookup import step_of
from assistant.session.state import State


class Turn:
    """Collects the facts of one decision. Local to one call of `decide`; never kept."""

    def __init__(self, plan: Plan, state: State, now_ms: int) -> None:
        self.plan = plan
        self.state = state
        self.now_ms = now_ms
        self.facts: list[Fact] = []
        self.asked_anew = False  # another question came up, be it the same one once more
        self.overtaken = False  # time alone did so in this very decision

    @property
    def step(self) -> Step:
        """The step at hand, in a mode that has one. Raises RuntimeError elsewhere: a fault of ours."""
        step = step_of(self.plan, self.state)
        if step is None:
            raise RuntimeError(f"there is no step at hand in mode {self.state.mode!r}")
        return step

    def emit(self, fact: Fact) -> None:
        """Add a fact and move the state with it."""
        before = self.state
        self.state = evolve(before, fact)
        self.asked_anew = self.asked_anew or at_hand(self.state) != at_hand(before)
        self.facts.append(fact)

    def words(self, key: str, **values: object) -> str:
        """A line of the assistant's own, in the plan's language."""
        return prompts.words(self.plan, key, **values)

    def speak(self, role: str, text: str, about: str = "") -> None:
        """Say `text`, unless it is empty."""
        text = " ".join(text.split())
        if text:
            self.emit(lines.LineSpoken(self.now_ms, self.state.lines + 1, role, text, about))

    def ask(self, role: str = lines.QUESTION) -> None:
        """Say what is asked or instructed now."""
        self.speak(role, prompts.prompt(self.plan, self.state), self.state.current)

    def deviate(self, code: str, about: str, text: str, held: str = "") -> None:
        """Record a departure and say it: no deviation is silent. `held`: what it is held back as, where it is of work
        that waits until somebody was seen to; then it is said after that. Raises ValueError for one without words."""
        if not text.strip():
            raise ValueError(f"the deviation {code!r} has no words")
        self.emit(troubles.Deviation(self.now_ms, code, about, " ".join(text.split())))
        if held:
            self.emit(troubles.HeldBack(self.now_ms, held))
        else:
            self.speak(lines.WARNING, text, about)

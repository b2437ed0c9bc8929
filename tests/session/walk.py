"""Drives the core in tests: one session, every fact checked against the invariants as it comes."""

from __future__ import annotations

from assistant.language import vocabulary as w
from assistant.procedure.model.plan import Plan
from assistant.session import decide, evolve, expects, initial, inputs, next_deadline_ms
from assistant.session.facts.base import Fact
from assistant.session.lookup import step_of
from assistant.session.order.bridges import SIGN_IN
from assistant.session.state import State
from assistant.session.words.offering import offered
from tests.session.invariants import Broken, Watch


class Walk:
    """`give` an input at an absolute time; `at` and `after` move the clock, ticking at every deadline on the way."""

    def __init__(self, plan: Plan, *, voice: bool = False, options: tuple[tuple[str, bool], ...] = (),
                 person: str = "Ada", watch: bool = True) -> None:
        self.plan, self.state = plan, initial(plan)
        self.facts: list[Fact] = []
        self.log: list[tuple[int, inputs.Input]] = []
        self.now = 0
        self.watch = Watch(plan, self.state) if watch else None
        self.give(inputs.Begin(person, voice=voice, options=options))

    @property
    def mode(self) -> str:
        return self.state.mode

    @property
    def step(self) -> str:
        return self.state.current

    def give(self, given: inputs.Input) -> list[Fact]:
        """Decide one input now; returns its facts."""
        self.log.append((self.now, given))
        facts = list(decide(self.plan, self.state, given, self.now))
        for fact in facts:
            before, self.state = self.state, evolve(self.state, fact)
            if self.watch:
                self.watch.fact(before, fact, self.state)
        self.facts += facts
        if self.watch:
            self.watch.rest(self.state)
        return facts

    def at(self, ms: int) -> Walk:
        """Let time pass to `ms`, deadline by deadline."""
        while (due := next_deadline_ms(self.plan, self.state)) is not None and due <= ms:
            self.now = max(self.now, due)
            if not self.give(inputs.Tick()) and next_deadline_ms(self.plan, self.state) == due:
                raise Broken(f"what is due at {due} never happens")
        self.now = max(self.now, ms)
        return self

    def after(self, ms: int) -> Walk:
        return self.at(self.now + ms)

    def say(self, word: str, *, after: int = 0, delay: int = 0, long: int = 0, source: str = "script") -> list[Fact]:
        """Say a word that ends `after` ms from now and is understood `delay` ms later; it takes `long` ms."""
        end = self.now + after
        self.at(end + delay)
        return self.give(inputs.Word(word, end - long, end, source))

    def yes(self, after: int = 5_000) -> list[Fact]:
        return self.say(w.CONFIRM, after=after)

    def value(self, text: str, after: int = 5_000) -> list[Fact]:
        self.after(after)
        return self.give(inputs.Value(text))

    def pick(self, surface: str, after: int = 1_000) -> Walk:
        """Answer "which one?" with the surface's number, asking for more until it is offered."""
        number = self.state.which.index(surface) + 1
        while number > offered(self.state):
            self.value("0", after)
        self.value(str(number), after)
        return self

    def go(self, step: str, *, mode: str = "", gap: int = 5_000, most: int = 400) -> Walk:
        """Do everything as asked until `step` is at hand (in `mode`, where given)."""
        for _ in range(most):
            if self.step == step and (not mode or self.mode == mode):
                return self
            if self.state.verdict:
                raise AssertionError(f"ended {self.state.verdict} before {step}")
            self.cooperate(gap)
        raise AssertionError(f"never came to {step}; at {self.step} in {self.mode}")

    def finish(self, gap: int = 5_000, most: int = 600) -> str:
        """Do everything as asked until the end; returns the verdict."""
        for _ in range(most):
            if self.state.verdict:
                return self.state.verdict
            self.cooperate(gap)
        raise AssertionError(f"no end; at {self.step} in {self.mode}")

    def cooperate(self, gap: int = 5_000) -> list[Fact]:
        """The one thing that carries the work on."""
        mode, step = self.mode, step_of(self.plan, self.state)
        if mode == "wait":
            self.at(next_deadline_ms(self.plan, self.state) or self.now + 1_000)
            return []
        self.after(40_000 if self.state.patch_since_ms >= 0 and mode == "step" else gap)
        if self.mode != mode:
            return []
        if mode == "value":
            kind = expects(self.plan, self.state)
            text = {"lot": "AB12", "date": "2027-03-01"}.get(kind) or step.low or step.high or "1"
            return self.give(inputs.Value(text))
        if mode == "witness":
            return self.give(inputs.Witness("Ben", "I saw it."))
        if mode == "which":
            return self.give(inputs.Value("1") if self.state.which else inputs.Word(w.ENCLOSURE))
        if mode == "paused":
            return self.give(inputs.Word(w.RESUME))
        if mode in ("trouble", "stopping"):
            return self.give(inputs.Word(w.CANCEL))
        if self.step == SIGN_IN and mode == "step":
            return self.give(inputs.SignIn("Cy"))
        return self.give(inputs.Word(w.REWETTED if mode == "rewet" else w.CONFIRM))

    def of(self, *classes: type[Fact]) -> list[Fact]:
        return [fact for fact in self.facts if isinstance(fact, classes)]


def kinds(facts: list[Fact]) -> list[str]:
    return [type(fact).__name__ for fact in facts]


def resting(state: State) -> tuple[str, str]:
    return state.mode, state.current

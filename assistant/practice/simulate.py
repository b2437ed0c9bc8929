"""A whole session at simulated speed, without sound: operator, listener by chance, core, and one event loop.

The core is the real one. Lines take the time they would take to say; nothing waits on a real clock.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Protocol

from assistant.practice.enclosure import disturbances as dist
from assistant.practice.operator.channel import Channel
from assistant.practice.operator.mind import Said, Utterance
from assistant.practice.oracle.judge import Oracle
from assistant.procedure.model.plan import Plan
from assistant.session import decide, evolve, expects, initial, inputs, listened_for, next_deadline_ms
from assistant.session.facts import lines, steps
from assistant.session.facts.base import Fact
from assistant.session.facts.lines import Heard
from assistant.session.state import FINAL_MODES, State
from assistant.speaking.estimate import seconds

LISTEN_MS = 300  # from the end of a word to its verdict
_THINK_MS, _GAP_MS = 60, 150  # before a line starts; between lines
_WITNESS_MS = 9000
LONGEST_MS = 4 * 3600 * 1000
_STILL_MS = 1_200_000

Decide = Callable[[Plan, State, inputs.Input, int], tuple[Fact, ...]]


class Worker(Protocol):
    """Whoever works: a persona, one who hears by ear, or a trainee who types."""

    said: list[Said]

    def hear(self, text: str, ended_ms: int, role: str = "") -> None: ...

    def sounding(self, now_ms: int) -> None: ...

    def next_action(self, now_ms: int) -> Utterance | None: ...

    def next_ms(self) -> int | None: ...


@dataclass(slots=True)
class Run:
    """What one session came to. `problem`: an exception of the core, in words, or "". `stuck`: it never ended."""

    facts: list[Fact]
    state: State
    operator: Worker
    channel: Channel
    given: list[tuple[int, inputs.Input]] = field(default_factory=list)
    problem: str = ""
    stuck: bool = False

    @property
    def ended_ms(self) -> int:
        return self.state.now_ms


class Simulation:
    """One session to its verdict. `decide_with`: the core's decide; a test plants a faulty one. `also(now)`: inputs
    from elsewhere, such as answers at level recall, each once; asked for after every decision. `line_s`: how long a
    line takes."""

    def __init__(
        self, plan: Plan, operator: Worker, channel: Channel, *, kind: str = "practice", person: str = "trainee",
        options: tuple[tuple[str, bool], ...] = (), longest_ms: int = LONGEST_MS, decide_with: Decide = decide,
        keep_inputs: bool = False, brief: bool = False, oracle: Oracle | None = None,
        on_facts: Callable[[State, tuple[Fact, ...], int], None] | None = None,
        pacer: Callable[[int, int], int] | None = None, disturber: dist.Disturber | None = None,
        also: Callable[[int], inputs.Input | None] = lambda now_ms: None, line_s: Callable[[str], float] = seconds,
    ) -> None:
        self.plan = plan
        self.run_so_far = Run([], initial(plan), operator, channel)
        self._begin = inputs.Begin(person, kind, True, brief, options)
        self._longest = longest_ms
        self._decide = decide_with
        self._keep = keep_inputs
        self._oracle = oracle
        self._on_facts = on_facts
        self._also = also
        self._line_s = line_s
        self._pacer = pacer  # (now, next) -> the session time reached, after waiting as long as it should last
        self._now = 0
        self._lines: list[list[Any]] = []  # [number, start, end, text, interrupted]
        self._free_ms = 0
        self._ears: list[tuple[int, str, int, int, bool]] = []  # (due, text, start, end, over speech)
        self._visit: tuple[int, inputs.Input] | None = None  # what somebody else does at the board, and when
        self._reliefs = 0
        self._disturber = disturber or dist.Disturber(())
        self._deaf = False  # the microphone has failed
        self._deadline: tuple[State | None, int | None] = (None, None)  # looked up once for each state

    def run(self) -> Run:
        """From the beginning to the verdict."""
        run = self.run_so_far
        try:
            self._give(self._begin)
            while run.state.mode not in FINAL_MODES:
                if not self._step():
                    run.stuck = True
                    break
            for line in self._lines:
                if line[1] <= self._now:
                    run.operator.hear(line[3], line[2])
        except (ValueError, RuntimeError, KeyError, IndexError, TypeError, AttributeError) as error:
            run.problem = f"{type(error).__name__}: {error}"
        if self._oracle and (run.problem or (run.stuck and not self._alive())):
            self._oracle.failed(self._now, run.problem or "the session came to a standstill")
        return run

    def _alive(self) -> bool:
        """Whether work went on to the end: then the procedure or the person was too slow, not the core."""
        heard = [f.at_ms for f in self.run_so_far.facts if isinstance(f, Heard) and f.accepted]
        return bool(heard) and self._now - heard[-1] < _STILL_MS

    def _step(self) -> bool:
        """To the next thing that happens. False if nothing ever will, or far too late."""
        operator = self.run_so_far.operator
        due = [line[2] for line in self._lines]
        due += [ear[0] for ear in self._ears]
        deadline = self._next_deadline_ms()
        if deadline is not None:
            due.append(deadline)
        wish = operator.next_ms()
        if wish is not None:
            due.append(max(wish, self._now + 50))
        if self._visit is not None:
            due.append(self._visit[0])
        disturbed = self._disturber.next_ms()
        if disturbed is not None:
            due.append(disturbed)
        if not due or min(due) > self._longest:
            return False
        reached = min(due) if self._pacer is None else self._pacer(self._now, max(self._now, min(due)))
        self._now = max(self._now, reached)
        self._happen(deadline)
        return True

    def _next_deadline_ms(self) -> int | None:
        state = self.run_so_far.state
        if self._deadline[0] is not state:
            self._deadline = (state, next_deadline_ms(self.plan, state))
        return self._deadline[1]

    def _happen(self, deadline: int | None) -> None:
        now, operator = self._now, self.run_so_far.operator
        if deadline is not None and deadline <= now:
            self._give(inputs.Tick())
        for line in [entry for entry in self._lines if entry[2] <= now]:
            self._lines.remove(line)
            self._give(inputs.LineDone(line[0], line[1], line[2], line[4]))
            operator.hear(line[3], line[2])
            self._disturber.hear(line[3], line[2])
            low = line[3].lower()
            if "second person must confirm" in low:
                self._visit = (now + _WITNESS_MS, inputs.Witness("colleague", "I saw it."))
            elif "signs in at the board" in low:
                self._visit = (now + _WITNESS_MS, inputs.SignIn(f"relief {self._reliefs + 1}"))
        for begins, one in self._disturber.events(now):
            self._disturb(begins, one)
        now = self._now  # the computer's power may have been off meanwhile
        for ear in [entry for entry in self._ears if entry[0] <= now]:
            self._ears.remove(ear)
            self._listen(*ear[1:])
        if self._visit is not None and self._visit[0] <= now:
            given, self._visit = self._visit[1], None
            self._reliefs += isinstance(given, inputs.SignIn)
            self._give(given)
        if any(line[1] <= now < line[2] for line in self._lines):
            operator.sounding(now)
        spoken = operator.next_action(now)
        if spoken is not None:
            end = operator.said[-1].end_ms
            over = any(line[1] < end and now < line[2] + 300 for line in self._lines)
            self._ears.append((end + LISTEN_MS, spoken.text, now, end, over))

    def _disturb(self, begins: bool, one: dist.Disturbance) -> None:
        if one.kind == dist.NOISE:
            self.run_so_far.channel.noisy = begins
        elif one.kind == dist.MICROPHONE:
            self._deaf = begins
            self._give(inputs.Lost("microphone", "no sound arrives") if begins else inputs.Back("microphone"))
        else:  # nothing is said or heard while the power is off; hands go on
            self._lines.clear()
            self._ears.clear()
            self._now += one.lasts_ms
            self._free_ms = self._now
            self._give(inputs.Recover(one.lasts_ms, "crash"))

    def _listen(self, text: str, start: int, end: int, over: bool) -> None:
        if self._deaf:
            return
        run = self.run_so_far
        over = over or any(line[1] < end for line in self._lines)
        active = listened_for(self.plan, run.state)
        given = run.channel.hear(text, start, end, active, expects(self.plan, run.state), over)
        if given is not None:
            self._give(given)

    def _give(self, given: inputs.Input) -> None:
        run = self.run_so_far
        if self._keep:
            run.given.append((self._now, given))
        state = run.state
        if self._oracle:
            self._oracle.given(given)
        decided = self._decide(self.plan, state, given, self._now)
        for fact in decided:
            state = evolve(state, fact)
            if self._oracle:
                self._oracle.fact(fact)
            run.facts.append(fact)
            if type(fact) is lines.LineSpoken:
                start = max(self._now + _THINK_MS, self._free_ms + _GAP_MS)
                self._free_ms = start + round(self._line_s(fact.text) * 1000)
                self._lines.append([fact.line, start, self._free_ms, fact.text, False])
            elif type(fact) is lines.Heard and fact.accepted and fact.word in ("stop", "repeat"):
                self._cut()
            elif type(fact) is steps.WitnessGiven:
                self._visit = None  # somebody else was quicker
        run.state = state
        if self._on_facts and decided:
            self._on_facts(state, decided, self._now)
        more = self._also(self._now)
        if more is not None:
            self._give(more)

    def _cut(self) -> None:
        """Stop and repeat silence what is being said."""
        for line in self._lines:
            line[2], line[4] = min(line[2], self._now), True
            line[1] = min(line[1], line[2])
        self._free_ms = self._now

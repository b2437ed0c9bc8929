"""What is physically so, as the monitor knows it: hands, doors, fan, what is wet since when, what was done."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, replace

from assistant.prover.requirements import Requirements
from assistant.session.state import State


@dataclass(frozen=True, slots=True)
class WetNow:
    """A surface that is wet: by which step and agent, since when all over, and when it dries (ms)."""

    step: str
    agent: str
    since_ms: int
    dries_ms: int


class Truth:
    """One state of the monitor. Copied before each transition; its tables are never shared when changed."""

    __slots__ = (
        "options", "hands", "open_since", "machines", "cycles", "cycle_task", "wet", "treated", "spoiled", "done",
        "skipped", "current", "here", "asked_again", "last_wet", "read_back", "witnessed", "value", "environment", "departed",
        "branches", "confirmed_ms", "missed", "patch", "over", "person", "must_end", "found_other", "stale_waste", "lifted",
        "first", "dried", "must_owe",
    )

    def __init__(self, need: Requirements) -> None:
        self.options: dict[str, bool] = {}
        self.hands = need.start_hands
        self.open_since = {o: 0 for o, spec in need.openings.items() if spec.at_start == "open"}
        self.machines = dict(need.machines_at_start)
        self.cycles: dict[str, tuple[str, int]] = {}  # id -> (running | complete | broken, since)
        self.cycle_task: dict[str, str] = {}  # cycle -> the step that started it, "" for a generated one
        self.wet: dict[str, WetNow] = {}
        self.treated: frozenset[str] = frozenset()  # wet steps whose contact was kept and not spoiled since
        self.spoiled: frozenset[str] = frozenset()  # wet steps that a mishap undid and nothing has redone
        self.done: frozenset[str] = frozenset()
        self.skipped: frozenset[str] = frozenset()
        self.current = ""
        self.here = ""  # the surface of the step at hand
        self.asked_again: tuple[str, ...] = ()  # surfaces asked to be wetted again, the one at hand first
        self.last_wet = ""
        self.read_back = ""
        self.witnessed = ""
        self.value = ""  # an answer taken at the step at hand with which nobody may go on
        self.environment = False  # the technician says how things are; not asked for by the core
        self.departed = False  # a mishap, correction, refusal or lateness: bridges are allowed from here on
        self.branches: tuple[str, ...] = ()
        self.confirmed_ms: dict[str, int] = {}
        self.missed: frozenset[str] = frozenset()
        self.patch: dict[tuple[str, str], int] = {}
        self.over = ""
        self.found_other = False  # after a crash something was found other than it was left
        self.person = ""
        self.stale_waste: frozenset[str] = frozenset()  # waste steps done before the last wiping that precedes them
        self.lifted: frozenset[str] = frozenset()  # trays that an instruction lifted and none has put back
        self.first = ""  # a mishap that endangers a person, of which nothing was asked yet
        self.dried: frozenset[str] = frozenset()  # surfaces that dried while something urgent was open, not yet said
        self.must_owe: frozenset[str] = frozenset()  # the steps that wetted them, not yet owed
        self.must_end = ""  # the mishap after which the site lets nothing go on

    def copy(self) -> Truth:
        new = object.__new__(Truth)
        for name in Truth.__slots__:
            setattr(new, name, getattr(self, name))
        return new

    def key(self, state: State, traced: frozenset[str]) -> Hashable:
        """What tells two states of the monitor apart. Moments count only where they differ from the core's; `traced`
        are the steps whose being done counts. What was spoiled and which value was outside are only told of a breach
        that is found without them."""
        wet = []
        for surface in sorted(self.wet):
            mine, theirs = self.wet[surface], state.contacts.get(surface)
            apart = (
                ("gone",) if theirs is None
                else (mine.dries_ms - theirs.dries_at_ms, mine.since_ms - theirs.wet_since_ms,
                      mine.dries_ms <= theirs.complete_at_ms)
            )
            wet.append((surface, mine.step, mine.agent, apart))
        return (
            self.hands, tuple(sorted(self.open_since)), tuple(sorted(self.machines.items())),
            tuple(sorted((c, s[0]) for c, s in self.cycles.items())), tuple(wet), self.treated,
            self.done & traced, self.skipped, self.read_back, self.witnessed, bool(self.value), self.branches,
            self.over, self.must_end, self.found_other, self.stale_waste, self.lifted, self.here, self.last_wet,
            self.first, self.dried, self.must_owe,
        )

    # --- small changes ---

    def set_cycle(self, cycle: str, status: str, since_ms: int) -> None:
        self.cycles = {**self.cycles, cycle: (status, since_ms)}

    def break_cycle(self, cycle: str) -> None:
        status, since = self.cycles.get(cycle, ("", 0))
        if status in ("running", "complete"):
            self.set_cycle(cycle, "broken", since)

    def set_open(self, opening: str, to: str, at_ms: int) -> None:
        if to == "open":
            self.open_since = {**self.open_since, opening: self.open_since.get(opening, at_ms)}
        else:
            self.open_since = {o: t for o, t in self.open_since.items() if o != opening}

    def dry(self, surface: str) -> None:
        if surface in self.wet:
            self.wet = {s: w for s, w in self.wet.items() if s != surface}

    def set_wet(self, surface: str, now: WetNow) -> None:
        self.wet = {**self.wet, surface: now}
        self.last_wet = surface
        self.not_asked_again(surface)

    def not_asked_again(self, surface: str) -> None:
        self.asked_again = tuple(s for s in self.asked_again if s != surface)

    def wiped(self) -> str:
        """The surface that work is done on, or was last: one asked to be wetted again, else the step's."""
        again = next((s for s in self.asked_again if s in self.wet), "")
        return again or self.here or self.last_wet

    def again_wet(self, surface: str, dries_ms: int) -> None:
        self.wet = {**self.wet, surface: replace(self.wet[surface], dries_ms=dries_ms)}
        self.last_wet = surface
        self.not_asked_again(surface)

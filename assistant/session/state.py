"""Where a session stands. Everything needed to go on is here; nothing else is remembered anywhere.

Dictionaries in a State are never changed in place: `evolve` copies. A test folds every golden session twice
and compares, so that a slip shows. Everything in it is bounded by the plan, however long a session lasts.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields

DIRTY, WET, CLEAN, SPOILED = "dirty", "wet", "clean", "spoiled"
RUNNING, COMPLETE, BROKEN = "running", "complete", "broken"
FINAL_MODES = frozenset(("complete", "incomplete", "stopped", "left"))


@dataclass(frozen=True, slots=True)
class Contact:
    """A surface that is wet now. `asked_ms`: when the pending re-wet was asked for, or -1.
    `stroke_again_ms`: the said first stroke of that re-wet, or -1."""

    surface: str
    step: str
    agent: str
    wet_since_ms: int
    complete_at_ms: int
    dries_at_ms: int
    rewet_at_ms: int
    asked_ms: int = -1
    stroke_again_ms: int = -1


@dataclass(frozen=True, slots=True)
class CycleRun:
    """A machine cycle. `status`: running, complete or broken."""

    cycle: str
    started_ms: int
    due_ms: int
    status: str


@dataclass(frozen=True, slots=True)
class Frame:
    """A line of work: the main one (branch "") or a mishap branch, with what is done in it. `person`: who was at
    the gauntlets when it was entered."""

    branch: str
    done: frozenset[str] = frozenset()
    skipped: frozenset[str] = frozenset()
    surface: str = ""
    person: str = ""


@dataclass(frozen=True)  # no slots: `changed` copies the whole dictionary at once
class State:
    mode: str = "idle"
    under: tuple[str, ...] = ()  # modes to return to, innermost last
    now_ms: int = 0
    entered_ms: int = 0  # when the question at hand came up: a word begun before it can't answer it
    begun_ms: int = 0
    person: str = ""
    kind: str = ""
    voice: bool = False
    brief: bool = False
    options: dict[str, bool] = field(default_factory=dict)
    frames: tuple[Frame, ...] = (Frame(""),)
    current: str = ""  # step or bridge id, or "" while choosing
    since_ms: int = 0  # when the current step began
    stroke_ms: int = -1  # said first stroke of the current wet step, or -1
    claimed_ms: int = -1  # when the word being read back or witnessed ended
    asked: str = ""  # what a read back is about: confirm or skip
    questioned: bool = False
    value: str = ""  # heard, being read back; or the option being asked
    value_fails: int = 0  # how often a value said whole has failed at this question
    spelling: bool = False  # it is now said one sign at a time
    spelt: str = ""  # the signs so far
    to_mend: str = ""  # a value that was read back, of which only the wrong part may be said again
    which: tuple[str, ...] = ()  # choices of a "which?" question
    which_from: int = 0  # how many of them were named before the line at hand
    mishap: str = ""  # the mishap being asked about
    surfaces: dict[str, str] = field(default_factory=dict)
    contacts: dict[str, Contact] = field(default_factory=dict)
    cycles: dict[str, CycleRun] = field(default_factory=dict)
    openings: dict[str, str] = field(default_factory=dict)
    opened_ms: dict[str, int] = field(default_factory=dict)
    opened_before_ms: dict[str, int] = field(default_factory=dict)  # of one that is shut: when it was opened last
    hands: str = "room"
    hands_before: tuple[str, ...] = ()  # where the hands were before each move, latest last; the newest few
    machines: dict[str, str] = field(default_factory=dict)
    confirmed: tuple[str, ...] = ()  # what a correction can take back, latest last; the newest few
    confirmed_ms: dict[str, int] = field(default_factory=dict)
    values: dict[str, str] = field(default_factory=dict)
    patch_ms: dict[tuple[str, str], int] = field(default_factory=dict)
    patch_since_ms: int = -1
    announce: tuple[str, ...] = ()  # surfaces and cycles whose end is still to be said
    announce_ms: int = 0  # when the oldest of them ended
    just_done: tuple[tuple[str, int], ...] = ()  # the newest contact ends, for words spoken before them
    last_wetted: str = ""  # the surface wetted last, be it again
    # Steps confirmed or undone by the decision at hand whose effect (a contact, an owed step) is still to come. A whole
    # decision leaves none that matters; one torn by a crash does.
    settling: tuple[str, ...] = ()
    dryings: dict[str, int] = field(default_factory=dict)  # how often a surface dried before its time, in a row
    rewets: tuple[str, ...] = ()  # surfaces whose re-wet was asked for
    # A confirmation begun no sooner than the first and ended before the second (ms) speaks of what lies under the
    # re-wet at hand, for it was over before that was asked for. (0, 0): none does.
    before_rewet_ms: tuple[int, int] = (0, 0)
    marks: frozenset[int] = frozenset()  # countdown marks said at this wait
    warned: frozenset[str] = frozenset()
    missed: frozenset[str] = frozenset()
    lines: int = 0
    open_lines: frozenset[int] = frozenset()
    quiet_ms: int = 0  # when the last line ended: a word begun before it was said over it
    last_text: str = ""
    misheard: int = 0
    deviations: int = 0
    lost: frozenset[str] = frozenset()
    questions: tuple[str, ...] = ()  # still to be asked after a recovery
    question_depth: int = 0  # how many lines of work were open when they came up
    stop_depth: int = 0  # how many lines of work were open when a stop was asked for; 0: no stop is pending
    verdict: str = ""
    held: tuple[str, ...] = ()  # "dried:<surface>", "step:<id>": happened to interrupted work, said after the hazard
    noted: tuple[tuple[str, int], ...] = ()  # mishaps named during a more urgent one, and when: they come after it

    @property
    def top(self) -> Frame:
        return self.frames[-1]

    @property
    def main(self) -> Frame:
        return self.frames[0]


_NAMES = frozenset(f.name for f in fields(State))


def changed(state: State, **changes: object) -> State:
    """A copy with some fields changed; several times quicker than `dataclasses.replace` on so many fields.
    Raises TypeError for a name that isn't a field."""
    if not changes.keys() <= _NAMES:
        raise TypeError(f"not fields of State: {sorted(changes.keys() - _NAMES)}")
    new = object.__new__(State)
    new.__dict__.update(state.__dict__)
    new.__dict__.update(changes)
    return new

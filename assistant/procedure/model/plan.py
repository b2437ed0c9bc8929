"""What the core runs: a site's procedure after loading, flattening and unit conversion.

A Plan is immutable, holds nothing but plain values, and knows its own text in one language. Site files are
turned into a Plan by `procedure.compile`; the core, the prover, the forecast and practice all read this one.
Times are whole milliseconds (`_ms`), areas whole square centimetres (`_cm2`), readings exact decimal text.
"""

from __future__ import annotations

from dataclasses import dataclass, field

# Step kinds. Each is one thing the technician does, or one thing the assistant waits for.
INSTRUCT, WET, WAIT, OPEN, CLOSE, CYCLE, MACHINE, MOVE, CHECK, READING, NOTE, WITNESS, PATCH = (
    "instruct", "wet", "wait", "open", "close", "cycle", "machine", "move", "check", "reading", "note",
    "witness", "patch",
)
KINDS = (INSTRUCT, WET, WAIT, OPEN, CLOSE, CYCLE, MACHINE, MOVE, CHECK, READING, NOTE, WITNESS, PATCH)

SINGLE, READ_BACK, WITNESSED = "single", "read_back", "witness"

ROOM, GAUNTLETS, WINDOW = "room", "gauntlets", "window"
REACHES = (ROOM, GAUNTLETS, WINDOW)

ALL_CONTACTS = "*"  # in `wait_for`: every contact that is running or still owed


@dataclass(frozen=True, slots=True)
class Cond:
    """One condition on the enclosure.

    kind/subject/value: ("opening", id, "open"|"closed"), ("cycle", id, "complete"), ("hands", "", a reach),
    ("machine", id, value), ("contact", surface id, "complete"), ("step", step id, "done").
    """

    kind: str
    subject: str
    value: str


@dataclass(frozen=True, slots=True)
class When:
    """A step's dependence on an answer given at the start: holds while option `option` equals `equals`."""

    option: str
    equals: bool


@dataclass(frozen=True, slots=True)
class Surface:
    """A surface. Ranks: 1 is cleanest, 1 is topmost, 1 is leftmost, 1 is rearmost."""

    id: str
    name: str
    zone: str
    material: str = ""
    orientation: str = "wall"  # ceiling | wall | floor | upright
    cleanliness: int = 1
    height: int = 1
    side: int = 1
    depth: int = 1
    area_cm2: int = 0
    beside: tuple[str, ...] = ()  # surfaces that a drip or touch here reaches, besides those below in the zone


@dataclass(frozen=True, slots=True)
class Opening:
    """A door or panel. `opens_when` holds the interlock as conditions; `at_end` is how it must be left."""

    id: str
    name: str
    opens_when: tuple[Cond, ...] = ()
    closes_when: tuple[Cond, ...] = ()
    at_start: str = "closed"
    at_end: str = "closed"
    reach: str = ROOM  # where the hands must be to move it
    max_open_ms: int = 0  # 0: no limit; else a deviation when open for so long
    warn_ms: int = 0  # warn so long before
    lifts: str = ""  # the tray or panel that is lifted while this is open; "": a door, panel or window


@dataclass(frozen=True, slots=True)
class Cycle:
    """A machine cycle (purge, run-up). Nothing shortens it; what breaks it makes it start from zero."""

    id: str
    name: str
    duration_ms: int
    reach: str = ROOM
    starts_when: tuple[Cond, ...] = ()
    broken_by_openings: tuple[str, ...] = ()  # opening one of these breaks it, running or complete
    broken_by: tuple[str, ...] = ("pressure_alarm", "power_cut")  # mishap words that break it


@dataclass(frozen=True, slots=True)
class Step:
    """One step. Only the fields its kind needs are filled; the rest keep their defaults."""

    id: str
    kind: str
    say: str  # the instruction, as spoken
    brief: str = ""  # the short form for experienced staff; cautions are never shortened
    why: str = ""
    caution: str = ""  # spoken with the instruction, never shortened
    look_for: str = ""
    claim: str = ""  # what a confirmation states ("the back wall is wet all over"), used by read back
    policy: str = SINGLE
    reach: str = ROOM
    when: tuple[When, ...] = ()  # all must hold
    requires: tuple[Cond, ...] = ()  # must hold before the step begins, besides reach and interlocks
    expected_ms: int = 0
    floor_ms: int = 0  # confirmed sooner is recorded as implausibly quick
    impossible_ms: int = 0  # confirmed sooner is questioned
    surface: str = ""
    agent: str = ""
    agent_name: str = ""
    contact_ms: int = 0
    wet_ms: int = 0  # how long it stays wet here, from the first stroke
    lead_ms: int = 0  # how long before drying a re-wet is asked for
    wait_for: tuple[str, ...] = ()  # surface ids, cycle ids, or ALL_CONTACTS
    opening: str = ""
    cycle: str = ""
    machine: str = ""
    machine_value: str = ""
    hands: str = ""  # MOVE: where the hands go
    on_no: str = ""  # CHECK answered no: "stop" | "again" | "deviate" | "mishap:<id>"
    value_kind: str = ""  # READING: "number"; NOTE: "lot" | "date"
    unit: str = ""
    low: str = ""  # decimal text; "" = no limit
    high: str = ""
    on_outside: str = ""  # like on_no
    not_before_today: bool = False  # NOTE date: an expiry that has passed is refused
    after_step: str = ""  # limit: must be confirmed within `within_ms` of that step's confirmation
    within_ms: int = 0
    warn_ms: int = 0
    after_wiping: bool = False  # takes used wipes out: owed again when something before it is wiped again
    file: str = ""
    line: int = 0


# What a mishap spoils, relative to where it is said. The core works out the redo from these.
SPOIL_CURRENT, SPOIL_BELOW, SPOIL_RUNNING, SPOIL_ZONE, SPOIL_ALL, SPOIL_NAMED, SPOIL_CHOSEN = (
    "current", "below", "running", "zone", "all", "named", "chosen",
)


@dataclass(frozen=True, slots=True)
class Spoil:
    """current: the surface of the step at hand (or the last wetted). below: those under or beside it in its
    zone already wetted. running: every surface whose contact runs. zone: all surfaces of `zone` (or of the
    current one). all: every surface. named: `surfaces`. chosen: the one the technician picks when asked."""

    what: str
    zone: str = ""
    surfaces: tuple[str, ...] = ()


# What a mishap endangers, the most urgent first. While a branch of one that endangers more than the work is open,
# nothing of the work that it interrupted is asked for.
URGENCY_PERSON, URGENCY_CONTAINMENT, URGENCY_WORK = "person", "containment", "work"
URGENCIES = (URGENCY_PERSON, URGENCY_CONTAINMENT, URGENCY_WORK)


@dataclass(frozen=True, slots=True)
class Mishap:
    """A branch that can be entered from any step. `then`: resume | stop | leave (fire: shortest way out)."""

    id: str
    word: str  # the command that names it
    title: str
    steps: tuple[Step, ...]
    spoils: tuple[Spoil, ...] = ()
    breaks_cycles: bool = False
    then: str = "resume"
    tell: str = ""  # who must be told, spoken at the end
    asks_which: str = ""  # a question with two words as answers, e.g. power: computer or enclosure
    urgency: str = URGENCY_WORK  # what it endangers, one of URGENCIES


@dataclass(frozen=True, slots=True)
class Option:
    """A yes/no question asked at the start."""

    id: str
    ask: str
    default: bool | None = None
    read_back: bool | None = None  # the answer that is read back before it counts
    claim: str = ""  # what that answer means, in words: "the next drug is the same"


@dataclass(frozen=True, slots=True)
class Plan:
    """One procedure for one enclosure, ready to run. `sha256` is that of the canonical site content."""

    procedure: str
    title: str
    revision: str
    sha256: str
    site: str
    enclosure: str
    enclosure_name: str
    language: str
    surfaces: dict[str, Surface]
    openings: dict[str, Opening]
    cycles: dict[str, Cycle]
    interlocks: tuple[frozenset[str], ...]  # openings never open together
    steps: tuple[Step, ...]
    mishaps: dict[str, Mishap]
    options: tuple[Option, ...] = ()
    cautions: tuple[str, ...] = ()  # spoken before the first step
    start_hands: str = ROOM
    end_hands: str = ROOM
    start_machines: dict[str, str] = field(default_factory=dict)
    end_machines: dict[str, str] = field(default_factory=dict)
    machine_names: dict[str, str] = field(default_factory=dict)  # machine id -> its spoken name
    move_says: dict[str, str] = field(default_factory=dict)  # "room>gauntlets": the move with its hygiene
    stop_says: tuple[str, ...] = ()  # the site's own words for a safe stop
    countdown_ms: tuple[int, ...] = (60_000, 30_000, 10_000)  # at a wait: time left is said at these
    ask_after_dryings: int = 3  # a surface that dried so often before its time is asked about; 0: never
    bundle_ms: int = 3_000  # completions this close are announced in one line
    today: str = ""  # ISO date at the start, given by whoever opens the session; "" = not checked
    spoken: dict[str, str] = field(default_factory=dict)  # command id -> how it is said here, for own lines
    purpose: str = "clean"  # light | rigorous | sporicidal | under_tray | other: for the register
    files: tuple[tuple[str, str], ...] = ()  # (file name, sha256) of every site file used

    def step(self, step_id: str) -> Step:
        """The step of the main line or of a mishap branch. Raises KeyError for an unknown id."""
        return self._index().steps[step_id]

    def timed_steps(self, branch: str) -> tuple[Step, ...]:
        """The steps of the main line ("") or of a mishap that must follow another one in time."""
        return self._index().timed[branch]

    def _index(self) -> _Index:
        index = _INDEXES.get(id(self))
        if index is None or index.plan is not self:
            lines = {"": self.steps} | {mishap.id: mishap.steps for mishap in self.mishaps.values()}
            index = _Index(
                self, {s.id: s for steps in lines.values() for s in steps},
                {branch: tuple(s for s in steps if s.within_ms) for branch, steps in lines.items()},
            )
            _INDEXES[id(self)] = index
        return index


@dataclass(frozen=True, slots=True)
class _Index:
    """What is looked up in a plan over and over: steps by id, and by line of work those with a time limit."""

    plan: Plan
    steps: dict[str, Step]
    timed: dict[str, tuple[Step, ...]]


# Looking a step up must not cost a scan per fact; a frozen dataclass can't hold a cache of its own.
_INDEXES: dict[int, _Index] = {}

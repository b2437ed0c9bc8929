"""Where a session stands. Everything needed to go on is here; nothing else is remembered anywhere.

Dictionaries in a State are never changed in place: `evolve` copies. A test folds every golden record twice
and compares, so that a slip shows.
"""

from __future__ import annotations

from dataclasses import dataclass, field

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
    """A line of work: the main one (branch "") or a mishap branch, with what is done in it."""

    branch: str
    done: frozenset[str] = frozenset()
    skipped: frozenset[str] = frozenset()
    surface: str = ""


@dataclass(frozen=True, slots=True)
class State:
    mode: str = "idle"
    under: tuple[str, ...] = ()  # modes to return to, innermost last
    now_ms: int = 0
    entered_ms: int = 0  # when the mode, step or re-wet at hand came up: a word begun before it can't answer it
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
    value: str = ""  # heard, being read back
    which: tuple[str, ...] = ()  # choices of a "which?" question
    mishap: str = ""  # the mishap being asked about
    surfaces: dict[str, str] = field(default_factory=dict)
    contacts: dict[str, Contact] = field(default_factory=dict)
    cycles: dict[str, CycleRun] = field(default_factory=dict)
    openings: dict[str, str] = field(default_factory=dict)
    opened_ms: dict[str, int] = field(default_factory=dict)
    hands: str = "room"
    machines: dict[str, str] = field(default_factory=dict)
    confirmed: tuple[str, ...] = ()  # steps in the order of confirmation, latest last
    confirmed_ms: dict[str, int] = field(default_factory=dict)
    values: dict[str, str] = field(default_factory=dict)
    patch_ms: dict[tuple[str, str], int] = field(default_factory=dict)
    patch_since_ms: int = -1
    announce: tuple[str, ...] = ()  # surfaces and cycles whose end is still to be said
    just_done: tuple[tuple[str, int], ...] = ()  # the newest contact ends, for words spoken before them
    rewets: tuple[str, ...] = ()  # surfaces whose re-wet was asked for
    marks: frozenset[int] = frozenset()  # countdown marks said at this wait
    warned: frozenset[str] = frozenset()
    missed: frozenset[str] = frozenset()
    lines: int = 0
    open_lines: frozenset[int] = frozenset()
    last_text: str = ""
    misheard: int = 0
    deviations: int = 0
    lost: frozenset[str] = frozenset()
    questions: tuple[str, ...] = ()  # still to be asked after a recovery
    verdict: str = ""

    @property
    def top(self) -> Frame:
        return self.frames[-1]

    @property
    def main(self) -> Frame:
        return self.frames[0]

"""What the time line is made of: lanes with spans and marks. `lane_builder` reads them off the facts.

Times are the session's own milliseconds.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

# What a span means; each has its own colour, pattern and word in the style sheet and the legend.
(
    WETTING,
    WET,
    CONTACT,
    DRIED,
    VOID,
    CLEAN,
    OPEN,
    RUNNING,
    BROKEN,
    SPOKEN,
    HEARD,
    REFUSED,
    GAUNTLETS,
    PAUSED,
) = (
    "wetting",
    "wet",
    "contact",
    "dried",
    "void",
    "clean",
    "open",
    "running",
    "broken",
    "spoken",
    "heard",
    "refused",
    "gauntlets",
    "paused",
)
DEVIATION, MISHAP, CORRECTION, REWET, SKIP, RECOVERY, NOTE = (
    "deviation",
    "mishap",
    "correction",
    "rewet",
    "skip",
    "recovery",
    "note",
)


@dataclass
class Span:
    """From `start_ms` to `end_ms`; `label` in plain words; `line` of the record that began it, or 0."""

    kind: str
    start_ms: int
    end_ms: int
    label: str
    line: int = 0


@dataclass(frozen=True)
class Mark:
    """A moment. `kind`: one of the constants above; `line` as in `Span`."""

    kind: str
    at_ms: int
    label: str
    line: int = 0


@dataclass
class Lane:
    """One row. `group`: surfaces, enclosure or sound."""

    id: str
    name: str
    group: str
    spans: list[Span] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)


def thinned(spans: list[Span], total_ms: int, resolution: int = 6_000) -> list[Span]:
    """Spans of one kind closer than a hair's breadth drawn as one, so that eight hours stay light."""
    hair = max(1, total_ms // resolution)
    out: list[Span] = []
    for span in spans:
        last = out[-1] if out else None
        if (
            last
            and last.kind == span.kind
            and span.start_ms - last.end_ms < hair
            and span.end_ms - last.start_ms < 40 * hair
            and span.end_ms - span.start_ms < hair
        ):
            last.end_ms = max(last.end_ms, span.end_ms)
        else:
            out.append(replace(span))
    return out

"""What a report says about a session, in plain values: whoever folds the record fills this in.

All `_ms` are monotonic milliseconds since the session's start. Texts are the site's own words.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

LATE = "late entry"  # of a step that was kept on paper
BarOutcome = Literal["complete", "dried", "void", "open"]


@dataclass(frozen=True)
class StepRow:
    """One step as it went. `started_ms`/`ended_ms`: None where it never began or ended. `outcome`: as shown. `note`: how
    it was confirmed ("single", "read back", "keys") and what else is to be known."""

    number: str
    text: str
    started_ms: int | None
    ended_ms: int | None
    outcome: str
    note: str = ""


@dataclass(frozen=True)
class Bar:
    """A timer on the time line: a contact (what: surface, with: agent) or a cycle. `required_ms`: as the
    label or the site asks. `rewets_ms`: the moments it was wetted again."""

    what: str
    with_what: str
    start_ms: int
    end_ms: int
    required_ms: int
    outcome: BarOutcome
    rewets_ms: tuple[int, ...] = ()
    kind: Literal["contact", "cycle"] = "contact"


@dataclass(frozen=True)
class Remark:
    """A deviation or mishap. `line`: of the record. `answer`: the decision that stands on the record, or ""."""

    t_ms: int
    line: int
    text: str
    answer: str = ""


@dataclass(frozen=True)
class ReportSummary:
    """Everything the first page, the step table and the label need.

    `verdict`: one short sentence. `unanswered`: questions that nobody answered. `cleaned`: what the label
    says was cleaned. `words_heard`: refused ones among them. `fit_until_wall`: RFC 3339 by the site's rule, or "" where there is no rule; `fit_rule`:
    that rule. `released`: who released it and when, by the site's rule, or "" (then the label says "not
    released")."""

    title: str
    revision: str
    site: str
    enclosure: str
    technician: str
    verdict: str
    started_wall: str
    ended_wall: str
    duration_ms: int
    waiting_ms: int = 0
    words_heard: int = 0
    words_refused: int = 0
    deviations: tuple[Remark, ...] = ()
    unanswered: tuple[str, ...] = ()
    steps: tuple[StepRow, ...] = ()
    bars: tuple[Bar, ...] = ()
    cleaned: str = ""
    fit_until_wall: str = ""
    fit_rule: str = ""
    released: str = ""
    release_rule: str = ""
    witnesses: tuple[str, ...] = ()
    start_answers: tuple[tuple[str, str], ...] = ()  # question and answer: they decide what the clean was
    with_what: tuple[
        tuple[str, str], ...
    ] = ()  # software, engine, model, voice, devices, clock source: name, value

"""This session against the last ten of the same procedure and technician. About a person: off unless the
site says so."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from sqlalchemy import select

from assistant.account.names import step_name
from assistant.procedure.model.plan import Plan
from assistant.review.register.index import Index, Row

LAST = 10
# A step drifts when it is under 60 % or over 170 % of its usual time and at least 10 s off; a judgement.
SHORT_SHARE, LONG_SHARE, LEAST_MS = 0.6, 1.7, 10_000
LEAST_SESSIONS = 4


@dataclass(frozen=True)
class StepHistory:
    """One step: `before` (ms, oldest first; -1 where the session didn't have it), `now_ms`, `usual_ms`
    (their median)."""

    step: str
    name: str
    before: tuple[int, ...]
    now_ms: int
    usual_ms: int
    drift: str


def earlier(index: Index, row: Row) -> list[Row]:
    """The last ten before it, oldest first."""
    with index.db() as db:
        rows = list(
            db.scalars(
                select(Row)
                .where(
                    Row.technician == row.technician,
                    Row.procedure == row.procedure,
                    Row.kind == "live",
                    Row.state == "sealed",
                    Row.started_utc < row.started_utc,
                )
                .order_by(Row.started_utc.desc())
                .limit(LAST)
            )
        )
        db.expunge_all()
    return rows[::-1]


def compare(row: Row, before: list[Row], plan: Plan | None) -> list[StepHistory]:
    """One history per step of this session, in its order; drifts named in words."""
    found = []
    tables = [r.steps for r in before]
    for step, now_ms in row.steps.items():
        times = tuple(table.get(step, -1) for table in tables)
        known = [t for t in times if t >= 0]
        usual = round(median(known)) if known else -1
        name = step_name(plan, step)
        found.append(StepHistory(step, name, times, now_ms, usual, _drift(name, now_ms, usual, len(known))))
    return found


def _drift(name: str, now_ms: int, usual_ms: int, count: int) -> str:
    if count < LEAST_SESSIONS or usual_ms <= 0 or abs(now_ms - usual_ms) < LEAST_MS:
        return ""
    if SHORT_SHARE * usual_ms <= now_ms <= LONG_SHARE * usual_ms:
        return ""
    return f"{name}: {round(now_ms / 1000)} s, usually {round(usual_ms / 1000)} s"

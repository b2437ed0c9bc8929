"""What needs me, and the list of all sessions."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from sqlalchemy import func, select
from starlette.responses import Response

from assistant.review.deciding.decisions import SHORT
from assistant.review.register.index import Row
from assistant.review.register.register import PRESSING
from assistant.review.serving.call import Call
from assistant.review.session.times import parse_wall

PER_PAGE = 25
HEAVY = 10  # of weight: something to look at
STATES = {"open": "undecided", "accepted": "accepted", "refused": "not accepted", "practice": "practice"}


def home(call: Call) -> Response:
    """Undecided records, worst first; what is due; what runs now."""
    page = call.query_int("page", 1, 1, 100_000)
    need = Row.needs.is_(True)
    with call.desk.index.db() as db:
        total = db.scalar(select(func.count()).select_from(Row).where(need)) or 0
        heavy = db.scalar(select(func.count()).select_from(Row).where(need, Row.weight >= HEAVY)) or 0
        anything = db.scalar(select(Row.session).limit(1)) is not None
        decided = db.scalar(select(Row.session).where(Row.decided.is_(True)).limit(1)) is not None
    rows = call.desk.index.page([need], [Row.weight.desc(), Row.started_utc.desc()], page, PER_PAGE)
    found = call.desk.duties()
    pressing = [d for d in found if d.due.status in PRESSING]
    running = [s for s in call.desk.follower.picture()["sessions"] if not s["sealed"]]
    late = {row.session: text for row in rows if (text := review_late(call, row))}
    return call.page(
        "home.html",
        rows=rows,
        total=total,
        heavy=heavy,
        page=page,
        pages=-(-total // PER_PAGE),
        anything=anything,
        decided=decided,
        duties=pressing[:12],
        more_duties=max(0, len(pressing) - 12),
        running=running,
        late=late,
    )


def review_late(call: Call, row: Row) -> str:
    """How long the review of a record is past the site's time for it, or ""."""
    ended = parse_wall(row.ended_utc)
    if ended is None or row.state != "sealed":
        return ""
    rule = call.desk.rules.release_for(row.purpose)
    late = call.desk.now() - (ended + timedelta(days=float(rule.within)))
    if late <= timedelta():
        return ""
    hours = int(late.total_seconds() // 3600)
    return f"review late by {hours} h" if hours < 48 else f"review late by {hours // 24} days"


def sessions(call: Call) -> Response:
    """Every session, newest first, narrowed by enclosure, decision, and words."""
    page = call.query_int("page", 1, 1, 100_000)
    enclosure, state, words = call.query("enclosure"), call.query("state"), call.query("words")
    where: list[Any] = []
    if enclosure:
        where.append(Row.enclosure == enclosure)
    if state == "open":
        where.append(Row.needs.is_(True))
    elif state == "accepted":
        where.append(Row.decision.in_(("accepted", "accepted_with_remark")))
    elif state == "refused":
        where.append(Row.decision == "not_accepted")
    elif state == "practice":
        where.append(Row.kind.not_in(("live", "")))
    if words:
        text = words.casefold().replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
        where.append(Row.search.like(f"%{text}%", escape="\\"))
    with call.desk.index.db() as db:
        total = db.scalar(select(func.count()).select_from(Row).where(*where)) or 0
        places = list(db.execute(select(Row.enclosure, func.max(Row.enclosure_name)).group_by(Row.enclosure)))
    rows = call.desk.index.page(where, [Row.started_utc.desc(), Row.session.desc()], page, PER_PAGE)
    return call.page(
        "sessions.html",
        rows=rows,
        total=total,
        page=page,
        pages=-(-total // PER_PAGE),
        places=places,
        enclosure=enclosure,
        state=state,
        words=words,
        states=STATES,
        short=SHORT,
    )


HANDLERS = {"home": home, "sessions": sessions}

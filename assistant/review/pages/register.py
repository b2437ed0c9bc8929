"""The register: what was cleaned when, what is due, what the site entered by hand, and the calendar file."""

from __future__ import annotations

import re
from datetime import UTC, datetime

from sqlalchemy import func, select
from starlette.responses import Response

from assistant.errors import GauntletError, RecordError
from assistant.review.deciding.decisions import SHORT
from assistant.review.register.agenda import calendar_file
from assistant.review.register.entries import DONE, MANUAL, PREPARATION, STRUCK
from assistant.review.register.index import Row
from assistant.review.register.register import NAMES, Duty
from assistant.review.serving.call import Call

PER_PAGE = 25
_LOCAL_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d)?")


def register(call: Call) -> Response:
    """All enclosures and their duties."""
    found = call.desk.duties()
    groups: dict[str, list[Duty]] = {}
    for duty in found:
        groups.setdefault(duty.enclosure, []).append(duty)
    with call.desk.index.db() as db:
        count = db.scalar(select(func.count()).select_from(Row)) or 0
        places = [name for name in db.scalars(select(Row.enclosure).distinct()) if name not in groups]
    return call.page(
        "register.html", groups=groups, count=count, refreshed=call.desk.refreshed_wall, places=places
    )


def register_enclosure(call: Call, problem: str = "", status: int = 200) -> Response:
    """One enclosure: its duties, its sessions, preparations and entries."""
    enclosure = _known(call)
    page = call.query_int("page", 1, 1, 100_000)
    mine = [Row.enclosure == enclosure, Row.kind.in_(("live", ""))]
    with call.desk.index.db() as db:
        total = db.scalar(select(func.count()).select_from(Row).where(*mine)) or 0
    rows = call.desk.index.page(mine, [Row.ended_utc.desc()], page, PER_PAGE)
    standing, odd = call.desk.entries.read()
    entries = [e for e in standing if e.enclosure == enclosure][::-1]
    file = call.desk.enclosures().get(enclosure)
    duties = [d for d in call.desk.duties() if d.enclosure == enclosure]
    name = duties[0].enclosure_name if duties else rows[0].enclosure_name if rows else enclosure
    return call.page(
        "register_enclosure.html",
        status,
        enclosure=enclosure,
        name=name,
        file=file,
        duties=duties,
        rows=rows,
        total=total,
        page=page,
        pages=-(-total // PER_PAGE),
        problem=problem,
        odd=odd,
        short=SHORT,
        preparations=[e for e in entries if e.what == PREPARATION][:200],
        done=[e for e in entries if e.what == DONE][:200],
        manual=MANUAL,
        names=NAMES,
        now_local=call.desk.now().strftime("%Y-%m-%dT%H:%M"),
    )


def _known(call: Call) -> str:
    enclosure = call.params["enclosure"]
    if enclosure in call.desk.enclosures():
        return enclosure
    with call.desk.index.db() as db:
        if db.scalar(select(Row.session).where(Row.enclosure == enclosure).limit(1)) is not None:
            return enclosure
    raise RecordError("There is no such enclosure.")


def entry_post(call: Call) -> Response:
    """Add a preparation or a duty done by hand, or strike an entry."""
    enclosure = _known(call)
    at = call.text("at", 40)
    if _LOCAL_TIME.fullmatch(at):  # as the browser's field gives it: the site's local time
        at = _with_offset(call, at)
    if call.text("what", 20) == STRUCK:
        at = call.desk.now_wall()
    try:
        call.desk.entries.add(
            call.text("what", 20),
            enclosure,
            call.text("name", 200),
            at,
            call.text("note", 500),
            call.signed_in.name,
            call.desk.now_wall(),
        )
    except GauntletError as error:
        return register_enclosure(call, error.what, 400)
    return call.go(f"/register/{enclosure}#entries")


def _with_offset(call: Call, text: str) -> str:
    try:
        moment = datetime.fromisoformat(text)
        moment = moment.replace(tzinfo=call.desk.zone) if call.desk.zone else moment.astimezone()
        return moment.isoformat(timespec="seconds")
    except (ValueError, OverflowError):
        return ""


def calendar(call: Call) -> Response:
    """Everything due, as RFC 5545."""
    found = call.desk.duties()
    site = next((f.site for f in call.desk.enclosures().values()), "")
    body = calendar_file(found, site, call.desk.today(), call.desk.now().astimezone(UTC))
    return Response(
        body, media_type="text/calendar", headers={"content-disposition": 'attachment; filename="due.ics"'}
    )


HANDLERS = {
    "register": register,
    "register_enclosure": register_enclosure,
    "entry_post": entry_post,
    "calendar": calendar,
}

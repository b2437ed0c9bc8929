"""One session: may it be released, what happened, where the core stood at any instant. And the comparison."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from starlette.responses import Response

from assistant.account.names import left_open_words
from assistant.account.start_answers import start_answers
from assistant.account.steps import step_rows
from assistant.account.telling import heard_words
from assistant.errors import RecordError
from assistant.review.deciding.decisions import signed_lines, standing
from assistant.review.deciding.holding import is_paper, why_not_holding
from assistant.review.deciding.signing import choices
from assistant.review.pages.instant import instant_at
from assistant.review.pages.media import SOUND, kept_clips, may_hear_clips, may_hear_sound, speaks
from assistant.review.register.index import Row
from assistant.review.register.register import affected
from assistant.review.serving.call import Call, fragment, session_url
from assistant.review.session import lanes as lane_kinds
from assistant.review.session.answer import answer
from assistant.review.session.compare import compare, earlier
from assistant.review.session.digest import Digest
from assistant.review.session.lane_builder import lanes
from assistant.review.session.opened import Opened
from assistant.review.session.timeline_svg import timeline_svg, with_cursor
from assistant.session.facts.lines import Heard, LineSpoken

TIMELINE_NAME = (
    "Time line of the session, one row per surface, door, cycle and kind of sound. "
    "The step list below says the same in words."
)
DOUBTFUL_PM = 700  # an accepted word below this confidence is worth a listen
MOST_WORDS = 25
LEGEND = (
    ("wetting", "being wetted"),
    ("contact", "wet, contact running"),
    ("clean", "contact complete"),
    ("dried", "dried too soon"),
    ("void", "counts no more"),
)
MARKS = (
    (lane_kinds.DEVIATION, "deviation"),
    (lane_kinds.MISHAP, "mishap"),
    (lane_kinds.CORRECTION, "correction"),
    (lane_kinds.SKIP, "skipped"),
    (lane_kinds.REWET, "wet again"),
)


@dataclass(frozen=True)
class WordRow:
    """A refused or doubtful word. `clip`: its hash, or ""; `line`: of the record."""

    at_ms: int
    started_ms: int
    ended_ms: int
    text: str
    said: str
    reason: str
    sure_pm: int
    clip: str
    line: int


def session(call: Call) -> Response:
    """The page."""
    opened = call.desk.open(call.params["enclosure"], call.params["session"])
    name = f"{opened.folder.parent.name}/{opened.folder.name}"
    row = _row(call, name)
    report = call.desk.check(opened.folder)
    summary = opened.summary
    signed = signed_lines(opened.record, call.desk.accounts.keys.registry())
    stands = standing(signed)
    verified = "" if report.complete or not report.sealed else (report.problems or ["It doesn't verify."])[0]
    verified = verified or (why_not_holding(opened) if opened.record.kind == "live" else "")
    state = "broken" if verified or opened.record.problems else row.state
    told = answer(
        summary, kind=opened.record.kind, state=state, problem=verified or ("" if is_paper(opened) else opened.problem), decision=stands
    )
    drawn = _drawn(opened, session_url(name))
    at_ms = min(call.query_int("t", _first_finding(summary)), opened.end_ms)
    sound = (opened.folder / SOUND).is_file() and may_hear_sound(call)
    words = drawn["words"]
    every = call.query("words") == "all"
    mine = choices(opened, call.desk.rules, call.account) if call.role in ("technician", "supervisor") else []
    return call.page(
        "session.html",
        row=row,
        told=told,
        broken=state == "broken",
        summary=summary,
        start_answers=start_answers(opened.plan, opened.facts) if opened.plan else (),
        signed=signed,
        stands=stands,
        report=report,
        url=session_url(name),
        total_ms=opened.end_ms,
        at_ms=at_ms,
        lanes=drawn["lanes"],
        drawing=with_cursor(drawn["drawing"], at_ms, opened.end_ms),
        reasons=_moments(told.reasons, summary),
        speaks=speaks(call, opened),
        steps=drawn["steps"],
        steps_drawn=drawn["steps drawn"],
        said_count=drawn["said"],
        stops=[f for f in summary.findings if f.at_ms >= 0 and f.weight >= 2],
        words=words if every else words[:MOST_WORDS],
        more_words=0 if every else max(0, len(words) - MOST_WORDS),
        sound=sound,
        clips=may_hear_clips(call),
        kept=kept_clips(opened),
        left_open=[left_open_words(opened.plan, item) for item in summary.left_open],
        legend=LEGEND,
        marks=MARKS,
        affected=affected(call.desk.index, row, call.desk.entries.all()) if told.affects else None,
        instant=instant_at(call, opened, at_ms),
        may_sign=any(not c.why_not for c in mine),
        why_not=mine[0].why_not if mine and all(c.why_not for c in mine) else "",
        compare_on=call.desk.rules.compare and call.role == "supervisor",
        header=opened.record.header,
        flash=call.query("done", 20),
    )


def _moments(reasons: list[str], summary: Digest) -> list[tuple[str, int]]:
    """Each reason with the moment of the first finding that says it, or -1."""
    first: dict[str, int] = {}
    for finding in summary.findings:
        first.setdefault(finding.text, finding.at_ms)
    return [(text, first.get(text, first.get(text.rpartition(" (")[0], -1))) for text in reasons]


def _drawn(opened: Opened, url: str) -> dict[str, Any]:
    """What is the same for whoever looks, drawn once and kept until the record changes."""
    drawn = opened.drawn
    if "words" not in drawn:
        found = lanes(opened.facts, opened.plan, opened.end_ms, opened.lines)
        drawn["lanes"] = found
        drawn["drawing"] = timeline_svg(found, opened.end_ms, TIMELINE_NAME)
        drawn["steps"] = step_rows(opened.facts, opened.plan, opened.lines, opened.state_at(opened.end_ms))
        drawn["steps drawn"] = fragment("_steps.html", steps=drawn["steps"], url=url)
        drawn["said"] = sum(isinstance(f, Heard | LineSpoken) for f in opened.facts)
        drawn["words"] = _words(opened)
    return drawn


def _row(call: Call, name: str) -> Row:
    with call.desk.index.db() as db:
        row = db.get(Row, name)
        if row is None:
            call.desk.index.refresh_one(name)
            db.expire_all()
            row = db.get(Row, name)
        if row is None:
            raise RecordError("There is no such session.")
        db.expunge(row)
    return row


def _first_finding(summary: Digest) -> int:
    heavy = [f for f in summary.findings if f.at_ms >= 0 and f.weight]
    return max(heavy, key=lambda f: f.weight).at_ms if heavy else 0


def _words(opened: Opened) -> list[WordRow]:
    found = []
    for fact, line in zip(opened.facts, opened.lines, strict=True):
        if isinstance(fact, Heard) and (not fact.accepted or _doubtful(fact)):
            found.append(
                WordRow(
                    fact.at_ms,
                    fact.started_ms,
                    fact.ended_ms,
                    heard_words(opened.plan, fact),
                    fact.said,
                    (fact.reason or "not understood") if not fact.accepted else "taken, though not sure",
                    max(0, min(1000, fact.confidence_pm)),
                    fact.clip_sha256,
                    line,
                )
            )
    return found


def _doubtful(fact: Heard) -> bool:
    """Taken from a voice, though not surely. Of a value no figure is kept where its engine gives none; it counts only
    once it was read back and confirmed."""
    return fact.source == "voice" and fact.confidence_pm < DOUBTFUL_PM and bool(fact.word or fact.confidence_pm)


def compare_page(call: Call) -> Response:
    """Step times against the last ten of the same procedure and technician."""
    if not call.desk.rules.compare:
        return call.say(
            "Comparing is off.",
            "It is about a person, so the site must switch it on in its rule file.",
            403,
            "compare: true",
        )
    opened = call.desk.open(call.params["enclosure"], call.params["session"])
    row = _row(call, f"{opened.folder.parent.name}/{opened.folder.name}")
    before = earlier(call.desk.index, row)
    histories = compare(row, before, opened.plan)
    return call.page(
        "compare.html",
        row=row,
        url=session_url(row.session),
        before=before,
        histories=histories,
        drifts=[h.drift for h in histories if h.drift],
    )


HANDLERS = {"session": session, "compare": compare_page}

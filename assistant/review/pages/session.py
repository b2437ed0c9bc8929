"""One session: may it be released, what happened, where the core stood at any instant. And the comparison."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from starlette.responses import Response

from assistant.errors import RecordError
from assistant.review import lanes as lane_kinds
from assistant.review.answer import answer
from assistant.review.call import Call, session_url
from assistant.review.compare import compare, earlier
from assistant.review.decisions import Signed, signed_lines, standing
from assistant.review.digest import Digest, digest, left_open_words
from assistant.review.index import Row
from assistant.review.lanes import lanes
from assistant.review.pages.media import SOUND, may_hear_clips, may_hear_sound
from assistant.review.register import affected
from assistant.review.sessions import Opened
from assistant.review.signing import choices
from assistant.review.steps_table import step_rows
from assistant.review.timeline_svg import timeline_svg
from assistant.session.facts.lines import Heard, LineSpoken
from assistant.session.view import view

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
    """A refused or doubtful word. `clip`: its hash where a clip is kept, or ""."""

    at_ms: int
    started_ms: int
    ended_ms: int
    text: str
    said: str
    reason: str
    sure_pm: int
    clip: str


def session(call: Call) -> Response:
    """The page."""
    opened = call.desk.open(call.params["enclosure"], call.params["session"])
    name = f"{opened.folder.parent.name}/{opened.folder.name}"
    row = _row(call, name)
    report = call.desk.check(opened.folder)
    summary, signed = _derived(call, opened)
    stands = standing(signed)
    verified = "" if report.complete or not report.sealed else (report.problems or ["It doesn't verify."])[0]
    state = "broken" if verified or opened.record.problems else row.state
    told = answer(
        summary, kind=opened.record.kind, state=state, problem=verified or opened.problem, decision=stands
    )
    drawn = opened.drawn
    if "lanes" not in drawn:
        drawn["lanes"] = lanes(opened.facts, opened.plan, opened.end_ms)
        drawn["steps"] = step_rows(opened.facts, opened.plan)
        drawn["words"] = _words(opened)
    at_ms = min(call.query_int("t", _first_finding(summary)), opened.end_ms)
    sound = (opened.folder / SOUND).is_file() and may_hear_sound(call)
    words = drawn["words"]
    every = call.query("words") == "all"
    mine = choices(opened, call.desk.rules, call.account) if call.role in ("technician", "supervisor") else []
    return call.page(
        "session.html",
        row=row,
        told=told,
        summary=summary,
        signed=signed,
        stands=stands,
        report=report,
        url=session_url(name),
        total_ms=opened.end_ms,
        at_ms=at_ms,
        lanes=drawn["lanes"],
        drawing=timeline_svg(
            drawn["lanes"],
            opened.end_ms,
            at_ms,
            "Time line of the session, one row per surface, "
            "door, cycle and kind of sound. The step list below says the same in words.",
        ),
        steps=drawn["steps"],
        stops=[f for f in summary.findings if f.at_ms >= 0 and f.weight >= 2],
        words=words if every else words[:MOST_WORDS],
        more_words=0 if every else max(0, len(words) - MOST_WORDS),
        sound=sound,
        clips=may_hear_clips(call),
        kept=_kept_clips(opened),
        left_open=[left_open_words(opened.plan, item) for item in summary.left_open],
        legend=LEGEND,
        marks=MARKS,
        affected=affected(call.desk.index, row, call.desk.entries.all()) if told.affects else None,
        instant=_instant(call, opened, at_ms),
        may_sign=any(not c.why_not for c in mine),
        why_not=mine[0].why_not if mine and all(c.why_not for c in mine) else "",
        compare_on=call.desk.rules.compare and call.role == "supervisor",
        header=opened.record.header,
        flash=call.query("done", 20),
    )


def _derived(call: Call, opened: Opened) -> tuple[Digest, list[Signed]]:
    drawn = opened.drawn
    if "digest" not in drawn:
        drawn["digest"] = digest(opened.facts, opened.plan, opened.record.kind)
    return drawn["digest"], signed_lines(opened.record, call.desk.accounts.keys.public_keys())


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
    for fact in opened.facts:
        if isinstance(fact, Heard) and (
            not fact.accepted or fact.source == "voice" and fact.confidence_pm < DOUBTFUL_PM
        ):
            found.append(
                WordRow(
                    fact.at_ms,
                    fact.started_ms,
                    fact.ended_ms,
                    fact.word.replace("_", " ") or fact.value,
                    fact.said,
                    (fact.reason or "not understood") if not fact.accepted else "taken, though not sure",
                    max(0, min(1000, fact.confidence_pm)),
                    fact.clip_sha256,
                )
            )
    return found


def _kept_clips(opened: Opened) -> set[str]:
    folder = opened.folder / "clips"
    try:
        return {path.stem for path in folder.glob("*.flac")} if folder.is_dir() else set()
    except OSError:
        return set()


def _instant(call: Call, opened: Opened, at_ms: int) -> dict[str, Any]:
    """What the core's state was at `at_ms`, and what was said and heard last before it."""
    state = opened.state_at(at_ms)
    said: list[dict[str, Any]] = []
    index = opened.count_at(at_ms)
    while index > 0 and len(said) < 6:
        index -= 1
        fact = opened.facts[index]
        if isinstance(fact, LineSpoken):
            said.append(
                {"at_ms": fact.at_ms, "who": "assistant", "text": fact.text, "accepted": True, "reason": ""}
            )
        elif isinstance(fact, Heard):
            said.append(
                {
                    "at_ms": fact.at_ms,
                    "who": "technician",
                    "text": fact.word.replace("_", " ") or fact.value or "(not a command)",
                    "accepted": fact.accepted,
                    "reason": fact.reason,
                }
            )
    started = opened.record.lines[0].wall
    found: dict[str, Any] = {
        "at_ms": at_ms,
        "wall": call.desk.clock.at(started, at_ms),
        "said": said[::-1],
        "fact": opened.count_at(at_ms),
        "facts": len(opened.facts),
        "view": None,
        "problem": opened.problem,
    }
    if state is not None and opened.plan is not None:
        try:
            found["view"] = view(opened.plan, state)
        except (KeyError, ValueError, IndexError, AttributeError) as error:
            found["problem"] = f"The state can't be shown: {error}"
    return found


def state(call: Call) -> Response:
    """The panel of one instant, drawn for the page's script to put in place."""
    opened = call.desk.open(call.params["enclosure"], call.params["session"])
    at_ms = min(call.query_int("t", 0), opened.end_ms)
    return call.page("_instant.html", instant=_instant(call, opened, at_ms))


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


HANDLERS = {"session": session, "state": state, "compare": compare_page}

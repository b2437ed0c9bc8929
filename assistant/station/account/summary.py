"""What a record says in plain values, for reports, door labels and pages: folded by the same core."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from assistant.account.plans import loaded_of
from assistant.account.reading import OpenedSession, opened_of
from assistant.account.start_answers import start_answers
from assistant.account.steps import step_rows
from assistant.account.tally import Tally, tally
from assistant.procedure.model.base import in_language
from assistant.procedure.model.plan import Plan
from assistant.record.export.paper import paper_summary
from assistant.record.export.summary import Bar, BarOutcome, Remark, ReportSummary, StepRow
from assistant.record.reader import Record
from assistant.record.signing.keys import KeyStore, PublicKey
from assistant.review.deciding.decisions import REJECTED, signed_lines, standing
from assistant.review.serving.places import keys_folder
from assistant.session.facts import contacts, lines, machine, steps, troubles
from assistant.session.facts.base import Fact
from assistant.session.lookup import name_of
from assistant.session.state import State

_VERDICTS = {
    "complete": "Complete: every step was done, every contact time kept.",
    "incomplete": "Incomplete: something was skipped or left open.",
    "stopped": "Stopped: a safe stop before the end.",
    "left": "Left: the room had to be left at once.",
    "": "Open: the session was never closed.",
}


def summarise(record: Record) -> ReportSummary:
    """Everything a report's first page, step table, time line and label need: from the core's fold, or of a clean kept
    on paper from its late entries. Raises RecordError, SiteFileError."""
    if record.header.get("transcribed") is True:
        return replace(paper_summary(record), released=released_by(record), release_rule=RELEASE_RULE)
    opened = opened_of(record)
    record, plan, facts = opened.record, opened.plan, opened.facts
    counted = tally(facts)
    told = record.header
    fit_until, fit_rule = _fit(opened, counted)
    return ReportSummary(
        title=plan.title, revision=plan.revision, site=plan.site, enclosure=in_language(loaded_of(record).enclosure.name, plan.language),
        technician=str(told.get("technician", "")), verdict=_VERDICTS[counted.verdict],
        started_wall=record.lines[0].wall, ended_wall=_ended(record), duration_ms=counted.ended_ms,
        waiting_ms=counted.waited_ms, words_heard=counted.heard + counted.refused, words_refused=counted.refused,
        deviations=tuple(_remarks(record)), unanswered=_unanswered(facts, counted),
        steps=tuple(paper_rows(plan, facts, opened.state())), bars=tuple(bars(plan, facts)),
        cleaned=f"{plan.title}" if counted.verdict == "complete" else "",
        fit_until_wall=fit_until, fit_rule=fit_rule, released=released_by(record), release_rule=RELEASE_RULE,
        witnesses=tuple(dict.fromkeys(f.person for f in facts if isinstance(f, steps.WitnessGiven))),
        with_what=_with_what(told),
        start_answers=tuple(
            (a.question, f"{a.answer}{f' ({a.drops})' if a.drops else ''}") for a in start_answers(plan, facts)
        ),
    )


RELEASE_RULE = "released by a standing signature in the record, as the site's review rules say"


def known_keys() -> list[PublicKey] | None:
    """The site's registry of keys, or None where no key store is here: then only each signature itself is held."""
    folder = keys_folder(None)
    return KeyStore(folder).registry() if folder.is_dir() else None


def released_by(record: Record) -> str:
    """Who released it and when: the signature that stands now, unless it says not accepted."""
    now = standing(signed_lines(record, known_keys()))
    return f"{now.meaning}, {now.name}, {now.wall}" if now and now.decision != REJECTED else ""


def _fit(opened: OpenedSession, counted: Tally) -> tuple[str, str]:
    """Fit until when, by the site's interval for this kind of clean, counted from its end; ("", "") without one."""
    days = getattr(loaded_of(opened.record).enclosure.intervals, opened.plan.purpose, None)
    if days is None or counted.verdict != "complete":
        return "", ""
    until = datetime.fromisoformat(_ended(opened.record)) + timedelta(days=float(days))
    return until.isoformat(timespec="seconds"), f"{opened.plan.purpose.replace('_', ' ')} clean every {days} days"


def _ended(record: Record) -> str:
    seal = record.seal
    return seal.wall if seal is not None else record.lines[-1].wall


def _remarks(record: Record) -> list[Remark]:
    decided = standing(signed_lines(record, known_keys()))
    answer = ""
    if decided is not None:
        answer = f"{decided.meaning}, line {decided.line}" + (f": {decided.reason}" if decided.reason else "")
    return [
        Remark(line.t_ms, line.seq, fact["data"]["text"], answer)
        for line, fact in record.facts()
        if fact["kind"] == troubles.Deviation.KIND
    ]


def _unanswered(facts: tuple[Fact, ...], counted: Tally) -> tuple[str, ...]:
    if counted.verdict:
        return ()
    last = [f for f in facts if isinstance(f, lines.LineSpoken) and f.role in (lines.QUESTION, lines.INSTRUCTION)]
    return (last[-1].text,) if last else ()


def paper_rows(plan: Plan, facts: tuple[Fact, ...], end: State) -> list[StepRow]:
    """The rows of the account as a report takes them."""
    return [
        StepRow(row.number, row.text, row.at_ms if row.at_ms >= 0 else None, row.ended_ms if row.ended_ms >= 0 else None,
                row.outcome, "; ".join(row.note_lines))
        for row in step_rows(facts, plan, end=end)
    ]


def bars(plan: Plan, facts: tuple[Fact, ...]) -> list[Bar]:
    """Every contact and cycle as it ran, in the order of their beginnings."""
    out: list[Bar] = []
    open_bars: dict[str, tuple[Bar, list[int]]] = {}

    def close(key: str, at_ms: int, outcome: BarOutcome) -> None:
        if key in open_bars:
            bar, rewets = open_bars.pop(key)
            out.append(Bar(
                bar.what, bar.with_what, bar.start_ms, at_ms, bar.required_ms, outcome, tuple(rewets), bar.kind,
            ))

    for fact in facts:
        if isinstance(fact, contacts.ContactStarted):
            close(fact.surface, fact.at_ms, "void")
            step = plan.step(fact.step)
            open_bars[fact.surface] = (
                Bar(name_of(plan, fact.surface), step.agent_name or fact.agent, fact.wet_since_ms, 0,
                    fact.complete_at_ms - fact.wet_since_ms, "open"), [],
            )
        elif isinstance(fact, contacts.RewetConfirmed) and fact.surface in open_bars:
            open_bars[fact.surface][1].append(fact.claimed_ms)
        elif isinstance(fact, contacts.ContactCompleted):
            close(fact.surface, fact.due_ms, "complete")
        elif isinstance(fact, contacts.SurfaceDried) and fact.phase == "contact":
            close(fact.surface, fact.due_ms, "dried")
        elif isinstance(fact, contacts.ContactVoided | troubles.SurfaceSpoiled):
            close(fact.surface, fact.at_ms, "void")
        elif isinstance(fact, machine.CycleStarted):
            close(f"cycle:{fact.cycle}", fact.at_ms, "void")
            open_bars[f"cycle:{fact.cycle}"] = (
                Bar(name_of(plan, fact.cycle), "", fact.started_ms, 0, fact.due_ms - fact.started_ms, "open",
                    kind="cycle"), [],
            )
        elif isinstance(fact, machine.CycleCompleted):
            close(f"cycle:{fact.cycle}", fact.due_ms, "complete")
        elif isinstance(fact, machine.CycleBroken):
            close(f"cycle:{fact.cycle}", fact.at_ms, "void")
    end = facts[-1].at_ms if facts else 0
    for key in list(open_bars):
        close(key, end, "open")
    return sorted(out, key=lambda bar: (bar.start_ms, bar.what))


def _with_what(told: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    engine, voice = told.get("engine", {}), told.get("voice", {})
    software = told.get("software", {})
    return (
        ("Software", f"{software.get('name', '')} {software.get('version', '')}, rules {software.get('rules', '')}"),
        ("Speech engine", f"{engine.get('engine', '')} {engine.get('version', '')}"),
        ("Speech model", f"{engine.get('model', '')} {str(engine.get('model_sha256', ''))[:16]}"),
        ("Voice", f"{voice.get('engine', '')} {voice.get('voice', '')}"),
        ("Microphone", str(told.get("source", {}).get("device", told.get("source", {}).get("source", "")))),
        ("Headset", str(told.get("sink", {}).get("device", told.get("sink", {}).get("sink", "")))),
        ("Clock", str(told.get("clock", ""))),
    )

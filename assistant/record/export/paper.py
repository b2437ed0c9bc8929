"""The report's summary of a clean that was kept on paper: late entries, and nothing that the core watched."""

from __future__ import annotations

from typing import Any

from assistant.record.export.printed import wall
from assistant.record.export.summary import LATE, ReportSummary, StepRow
from assistant.record.reader import Record

VERDICT = "Transcribed from paper. No wait in it was watched."


def paper_summary(record: Record) -> ReportSummary:
    """What a transcribed record says of itself; whatever its first line lacks stays empty."""
    told = record.header
    enclosure, procedure, software = (_part(told, name) for name in ("enclosure", "procedure", "software"))
    late = [line for line in record.lines if line.kind == "record_late_entry"]
    ended = record.seal or record.lines[-1]
    return ReportSummary(
        title=_text(procedure.get("title") or procedure.get("id") or told.get("procedure")) or "Clean kept on paper",
        revision=_text(procedure.get("revision")) or "\u2013",
        site=_text(told.get("site")),
        enclosure=_text(enclosure.get("name") or enclosure.get("id") or told.get("enclosure")),
        technician=_text(told.get("author")),
        verdict=VERDICT,
        started_wall=record.lines[0].wall,
        ended_wall=ended.wall,
        duration_ms=ended.t_ms,
        unanswered=tuple(item for item in _list(ended.data.get("left_open")) if isinstance(item, str)),
        steps=tuple(
            StepRow(
                str(number), _text(line.data.get("text")), None, None, LATE, "; ".join(filter(None, (
                    _text(line.data.get("author")),
                    f"as the paper says, {wall(happened)}" if (happened := _text(line.data.get("happened"))) else
                    "no time on the paper",
                ))),
            )
            for number, line in enumerate(late, 1)
        ),
        with_what=(
            ("Written by", _text(told.get("author"))),
            ("Entered by", _text(told.get("transcriber"))),
            ("Entered at", wall(record.lines[0].wall)),
            ("Software", f"{_text(software.get('name'))} {_text(software.get('version'))}"),
        ),
    )  # fmt: skip


def _part(told: dict[str, Any], name: str) -> dict[str, Any]:
    value = told.get(name)
    return value if isinstance(value, dict) else {}


def _list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def _text(value: Any) -> str:
    return str(value) if isinstance(value, str | int) else ""

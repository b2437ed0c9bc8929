"""Every line of a record as it stands there: paged, narrowed by kind, each with an address of its own."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from starlette.responses import Response

from assistant.account.names import plain
from assistant.account.telling import tell
from assistant.record.lines.envelope import Line
from assistant.record.lines.safe_text import printable
from assistant.review.serving.call import Call, session_url
from assistant.review.session.times import clock_words

PER_PAGE = 50
MOST_FIELDS, MOST_TEXT, MOST_RAW = 40, 400, 6_000


@dataclass(frozen=True)
class FactRow:
    """One line as shown. `told`: what it tells in words, "" for a line of the record itself; `fields`: name and value of everything it holds; `raw`: its bytes as text, `cut` when
    there is more; `holds`: that the chain was checked through it."""

    seq: int
    at_ms: int
    clock: str
    kind: str
    told: str
    fields: list[tuple[str, str]]
    sha256: str
    prev: str
    raw: str
    cut: bool
    holds: bool


def facts(call: Call) -> Response:
    """The page. `line` in the query shows the page that holds that line, whatever else was asked for."""
    opened = call.desk.open(call.params["enclosure"], call.params["session"])
    report = call.desk.check(opened.folder)
    lines = opened.record.lines
    counts = opened.drawn.get("kinds")
    if counts is None:
        counts = opened.drawn["kinds"] = sorted(Counter(line.kind for line in lines).items())
    wanted = call.query_int("line", 0)
    kind = call.query("kind", 80)
    kind = kind if any(kind == name for name, _ in counts) else ""
    if wanted and kind and not any(line.seq == wanted and line.kind == kind for line in lines):
        kind = ""
    fitting = [line for line in lines if not kind or line.kind == kind]
    pages = max(1, -(-len(fitting) // PER_PAGE))
    page = min(pages, call.query_int("page", 1, 1, 1_000_000))
    if wanted:
        place = next((n for n, line in enumerate(fitting) if line.seq == wanted), None)
        page = page if place is None else place // PER_PAGE + 1
    name = f"{opened.folder.parent.name}/{opened.folder.name}"
    told = {line: tell(opened.plan, fact).text for line, fact in zip(opened.lines, opened.facts, strict=True)}
    shown = fitting[(page - 1) * PER_PAGE : page * PER_PAGE]
    return call.page(
        "facts.html",
        url=session_url(name),
        name=name,
        title=opened.record.header.get("procedure"),
        started=lines[0].wall,
        rows=[_row(call, line, lines[0].wall, report.holds_through, told.get(line.seq, "")) for line in shown],
        kinds=counts,
        kind=kind,
        total=len(fitting),
        every=len(lines),
        page=page,
        pages=pages,
        report=report,
        ending=opened.record.problems[:3],
    )


def _row(call: Call, line: Line, started: str, holds_through: int, told: str) -> FactRow:
    raw = line.raw.decode("utf-8", "replace")
    return FactRow(
        line.seq,
        line.t_ms,
        call.desk.clock.at(started, line.t_ms),
        plain(line.kind),
        _shown(told, MOST_TEXT),
        list(_fields(line.data)),
        line.sha256,
        line.prev,
        _shown(raw, MOST_RAW),
        len(raw) > MOST_RAW,
        line.seq <= holds_through,
    )


def _fields(data: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Names and values in words, without what is empty; times in the session's clock beside their number."""
    told = 0
    for name, value in data.items():
        if value in ("", None, [], {}):
            continue
        told += 1
        if told > MOST_FIELDS:
            yield "and more", "in the whole line"
            return
        # The value says its unit, so that the name needn't.
        yield _shown(plain(name.removesuffix("_ms").removesuffix("_pm")), 80), _value(name, value)


def _shown(text: str, most: int) -> str:
    """`printable`, which goes letter by letter, only for text that needs it."""
    return text if len(text) <= most and text.isascii() and text.isprintable() else printable(text, most)


def _value(name: str, value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int) and name.endswith("_ms"):
        return f"{value} ms ({clock_words(value)})" if value >= 0 else "none"
    if isinstance(value, int) and name.endswith("_pm"):
        return f"{value / 10:g} %" if abs(value) < 10**6 else str(value)
    if isinstance(value, list):
        return printable(", ".join(_value("", item) for item in value[:20]), MOST_TEXT)
    if isinstance(value, dict):
        return printable("; ".join(f"{plain(k)}: {_value(k, v)}" for k, v in list(value.items())[:20]), MOST_TEXT)
    return _shown(str(value), MOST_TEXT)


HANDLERS = {"facts": facts}

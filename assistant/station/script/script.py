"""Core inputs from JSON lines: for proofs, counterexamples and tests. Its record's kind is script, never live.

One object per line: {"at_ms": 1500, "input": "word", "word": "confirm"}. `input` is one of the names below; the
other keys are that input's own fields. A line may start with # and is then left out.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

from assistant.errors import SiteFileError
from assistant.language import vocabulary as w
from assistant.procedure.loading.problems import nearest
from assistant.session import inputs

NAMES: dict[str, type] = {
    "begin": inputs.Begin, "word": inputs.Word, "value": inputs.Value, "misheard": inputs.Misheard,
    "tick": inputs.Tick, "line_done": inputs.LineDone, "witness": inputs.Witness, "sign_in": inputs.SignIn,
    "lost": inputs.Lost, "back": inputs.Back, "recover": inputs.Recover, "clock_step": inputs.ClockStep,
    "gap": inputs.Gap,
}
_BASES: dict[str, type | tuple[type, ...]] = {"int": int, "str": str, "bool": bool, "int | None": (int, type(None))}


def read_script(path: Path | str) -> list[tuple[int, inputs.Input]]:
    """Every line of a script as (at_ms, input). Raises SiteFileError naming file and line."""
    place = Path(path)
    try:
        text = place.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise SiteFileError(f"The script can't be read: {error}.", where=str(place)) from error
    return list(parse_script(text.splitlines(), str(place)))


def parse_script(lines: Iterable[str], name: str = "script") -> Iterator[tuple[int, inputs.Input]]:
    """As `read_script`, from lines of text. Time may not go back."""
    latest = 0
    for number, line in enumerate(lines, 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        at_ms, given = _parse(line, f"{name}:{number}")
        if at_ms < latest:
            raise SiteFileError(
                f"Time goes back from {latest} ms to {at_ms} ms.", where=f"{name}:{number}",
                expected="at_ms never less than on the line before",
            )
        latest = at_ms
        yield at_ms, given


def _parse(line: str, where: str) -> tuple[int, inputs.Input]:
    try:
        found = json.loads(line)
    except (json.JSONDecodeError, RecursionError) as error:
        raise SiteFileError(f"This line isn't JSON: {error}.", where=where, expected='{"at_ms": 0, "input": "tick"}') from None
    if not isinstance(found, dict):
        raise SiteFileError("This line isn't an object.", where=where, expected='{"at_ms": 0, "input": "tick"}')
    at_ms, kind = found.pop("at_ms", None), found.pop("input", None)
    if not isinstance(at_ms, int) or isinstance(at_ms, bool) or at_ms < 0:
        raise SiteFileError("at_ms isn't a whole number of milliseconds from 0.", where=where)
    cls = NAMES.get(kind) if isinstance(kind, str) else None
    if cls is None:
        raise SiteFileError(
            f"{kind!r} isn't an input.", where=where, expected=", ".join(NAMES), try_next=nearest(str(kind), NAMES)
        )
    return at_ms, _build(cls, found, where)


def _build(cls: type[inputs.Input], given: dict[str, Any], where: str) -> inputs.Input:
    known = {f.name: str(f.type) for f in fields(cls)}
    for name, value in given.items():
        if name not in known:
            raise SiteFileError(
                f"This input has no field {name!r}.", where=where, expected=", ".join(known) or "no field",
                try_next=nearest(name, known),
            )
        wanted = _BASES.get(known[name])
        if wanted and (not isinstance(value, wanted) or (isinstance(value, bool) and wanted is not bool)):
            raise SiteFileError(f"{name} is {value!r}.", where=where, expected=known[name])
    if cls is inputs.Word and given.get("word") not in w.ALL:
        word = given.get("word")
        raise SiteFileError(
            f"{word!r} isn't a command.", where=where, expected="a command's id", try_next=nearest(str(word), w.ALL)
        )
    try:
        return cls(**{name: _frozen(value) for name, value in given.items()})
    except TypeError as error:
        raise SiteFileError(f"This input lacks a field: {error}.", where=where) from None


def _frozen(value: Any) -> Any:
    return tuple(_frozen(v) for v in value) if isinstance(value, list) else value

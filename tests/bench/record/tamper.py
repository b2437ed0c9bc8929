"""Random tamperings of a sealed record: how many the check misses, and how often it names the wrong line."""

from __future__ import annotations

import io
import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

from assistant.record.lines.canonical import to_canonical
from assistant.record.lines.chain import digest_of, seed
from assistant.record.lines.envelope import parse_line
from assistant.record.verify import verify_stream


@dataclass
class TamperTally:
    """`missed`: tamperings that verified as complete; `misnamed`: those whose named line lies after the first
    changed one, so that something changed would have been called good."""

    tamperings: int = 0
    missed: list[str] = field(default_factory=list)
    misnamed: list[str] = field(default_factory=list)
    by_kind: Counter[str] = field(default_factory=Counter)


def tamper_rounds(data: bytes, rounds: int, rng: random.Random) -> TamperTally:
    """Change `data` (a sealed record without signatures) `rounds` times, each time in one of ten ways."""
    tally = TamperTally()
    lines = data.splitlines(keepends=True)
    while tally.tamperings < rounds:
        way = rng.choice(WAYS)
        changed = way(lines, rng)
        if changed == lines:
            continue
        tally.tamperings += 1
        tally.by_kind[way.__name__.strip("_")] += 1
        first = next(
            (n for n, (a, b) in enumerate(zip(lines, changed, strict=False), 1) if a != b),
            min(len(lines), len(changed)) + 1,
        )
        report = verify_stream(io.BytesIO(b"".join(changed)))
        name = f"{way.__name__} at line {first}"
        if report.complete:
            tally.missed.append(name)
        elif report.sealed is False and report.first_bad_line is None:
            pass  # whole lines cut off the end: found as "not sealed"
        elif way in MENDED and report.holds_through < first:
            pass  # a mended chain hides the place; it must then not be called good
        elif report.first_bad_line is None or report.first_bad_line > first or report.holds_through >= first:
            tally.misnamed.append(f"{name}, named {report.first_bad_line}, holds {report.holds_through}")
    return tally


def _bit(lines: list[bytes], rng: random.Random) -> list[bytes]:
    n = rng.randrange(len(lines))
    at = rng.randrange(len(lines[n]))
    changed = bytearray(lines[n])
    changed[at] ^= 1 << rng.randrange(8)
    return b"".join([*lines[:n], bytes(changed), *lines[n + 1 :]]).splitlines(keepends=True)


def _bytes(lines: list[bytes], rng: random.Random) -> list[bytes]:
    data = bytearray(b"".join(lines))
    at = rng.randrange(len(data))
    for place in range(at, min(len(data), at + rng.randint(1, 64))):
        data[place] = rng.randrange(256)
    return bytes(data).splitlines(keepends=True)


def _word(lines: list[bytes], rng: random.Random) -> list[bytes]:
    """Edit a line's meaning and write it canonically again, as somebody careful would."""
    n = rng.randrange(len(lines))
    line = parse_line(lines[n][:-1])
    body = {
        "seq": line.seq,
        "t_ms": line.t_ms,
        "wall": line.wall,
        "record": line.record,
        "rules": line.rules,
        "kind": line.kind,
        "v": line.v,
        "data": line.data,
        "prev": line.prev,
    }
    body.update(
        rng.choice(
            [
                {"t_ms": line.t_ms + rng.randint(1, 9)},
                {"v": line.v + 1},
                {"data": {"text": "changed"}},
                {"wall": "2026-03-15T00:00:00Z"},
                {"kind": "refused"},
                {"rules": 2},
            ]
        )
    )
    return [*lines[:n], to_canonical(body) + b"\n", *lines[n + 1 :]]


def _rechained(lines: list[bytes], rng: random.Random) -> list[bytes]:
    """Edit a line and mend every hash after it, but not the seal's root and digest."""
    n = rng.randrange(len(lines) - 1)
    changed = _word(lines[: n + 1], random.Random(rng.random()))
    out: list[bytes] = []
    prev = ""
    for raw in [*changed, *lines[len(changed) :]]:
        line = parse_line(raw[:-1])
        prev = prev or seed(line.record)
        mended = raw.replace(line.prev.encode(), prev.encode())
        out.append(mended)
        prev = parse_line(mended[:-1]).sha256
    return out


def _digested(lines: list[bytes], rng: random.Random) -> list[bytes]:
    """The same, and the seal's digest too: its root and count are left."""
    out = _rechained(lines, rng)
    seal = out[-1][:-1]
    digest = parse_line(seal).data["digest"]
    out[-1] = seal.replace(digest.encode(), str(digest_of(seal, digest)).encode()) + b"\n"
    return out


def _drop(lines: list[bytes], rng: random.Random) -> list[bytes]:
    n = rng.randrange(len(lines))
    return lines[:n] + lines[n + 1 :]


def _double(lines: list[bytes], rng: random.Random) -> list[bytes]:
    n = rng.randrange(len(lines))
    return lines[: n + 1] + lines[n:]


def _swap(lines: list[bytes], rng: random.Random) -> list[bytes]:
    n, m = rng.sample(range(len(lines)), 2)
    changed = lines[:]
    changed[n], changed[m] = changed[m], changed[n]
    return changed


def _insert(lines: list[bytes], rng: random.Random) -> list[bytes]:
    n = rng.randrange(len(lines) + 1)
    return [*lines[:n], rng.choice(lines), *lines[n:]]


def _cut_lines(lines: list[bytes], rng: random.Random) -> list[bytes]:
    return lines[: rng.randrange(len(lines))]


def _cut_bytes(lines: list[bytes], rng: random.Random) -> list[bytes]:
    data = b"".join(lines)
    return data[: rng.randrange(len(data))].splitlines(keepends=True)


WAYS: tuple[Callable[[list[bytes], random.Random], list[bytes]], ...] = (
    _bit,
    _bytes,
    _word,
    _rechained,
    _digested,
    _drop,
    _double,
    _swap,
    _insert,
    _cut_lines,
    _cut_bytes,
)
MENDED = (_rechained, _digested)

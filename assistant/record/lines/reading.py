"""From bytes to lines, with three different answers at the end: end of file, torn, malformed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO, Literal

from assistant.record.lines.canonical import MAX_LINE_BYTES
from assistant.record.lines.envelope import AFTER_SEAL, Line, MalformedLine, parse_line
from assistant.record.lines.reserve import MOST_RESERVE_BYTES, is_part_of_one_decision


@dataclass(frozen=True)
class Ending:
    """How reading ended. `offset`: bytes of whole, well-formed lines; `line`: number of the line that wasn't.

    end_of_file: the last byte was a newline, or in an open record nothing but the reserve followed. torn: bytes
    without a newline at the end, or a decision that the disk took in part, as a crash in the middle of a write leaves
    them. malformed: a line that isn't one of ours, with `reason`.
    """

    how: Literal["end_of_file", "torn", "malformed"]
    offset: int
    line: int
    reason: str = ""


def read_lines(stream: BinaryIO) -> Iterator[Line | Ending]:
    """Yield each well-formed line, then exactly one Ending. Holds one line at a time; never raises on
    content."""
    offset = number = 0
    sealed = False
    while True:
        raw = stream.readline(MAX_LINE_BYTES + 2)
        number += 1
        if not raw:
            yield Ending("end_of_file", offset, number)
            return
        reason = f"longer than {MAX_LINE_BYTES} bytes"
        if raw.endswith(b"\n"):
            try:
                line = parse_line(raw[:-1])
            except MalformedLine as error:
                reason = str(error)
            else:
                offset += len(raw)
                sealed = sealed or line.kind == "record_sealed" or line.kind in AFTER_SEAL
                yield line
                continue
        yield _ending(raw, stream, offset, number, sealed, reason)
        return


def _ending(raw: bytes, stream: BinaryIO, offset: int, number: int, sealed: bool, reason: str) -> Ending:
    """What the bytes from the first that are no line are; `raw` is the first of them."""
    if sealed and b"\0" in raw:
        return Ending("malformed", offset, number, "zero bytes, where a sealed record has none")
    tail = raw
    if b"\0" in raw or not raw.endswith(b"\n"):
        tail += stream.read(MOST_RESERVE_BYTES + MAX_LINE_BYTES - len(raw))
        if stream.read(1):
            return Ending("malformed", offset, number, reason)
    tail = tail.rstrip(b"\0")
    if not tail:
        return Ending("end_of_file", offset, number)
    if b"\n" not in tail and len(tail) <= MAX_LINE_BYTES:
        return Ending("torn", offset, number, "the file ends in the middle of a line")
    if is_part_of_one_decision(tail, offset):
        return Ending("torn", offset, number, "the last decision is there only in part")
    return Ending("malformed", offset, number, reason)

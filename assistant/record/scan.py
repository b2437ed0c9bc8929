"""From bytes to lines, with three different answers at the end: end of file, torn, malformed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO, Literal

from assistant.record.canonical import MAX_LINE_BYTES
from assistant.record.envelope import Line, MalformedLine, parse_line


@dataclass(frozen=True)
class Ending:
    """How reading ended. `offset`: bytes of whole, well-formed lines; `line`: number of the line that wasn't.

    end_of_file: the last byte was a newline. torn: bytes without a newline at the end, as a crash in the
    middle of a write leaves them. malformed: a line that isn't one of ours, with `reason`.
    """

    how: Literal["end_of_file", "torn", "malformed"]
    offset: int
    line: int
    reason: str = ""


def scan(stream: BinaryIO) -> Iterator[Line | Ending]:
    """Yield each well-formed line, then exactly one Ending. Holds one line at a time; never raises on
    content."""
    offset = number = 0
    while True:
        raw = stream.readline(MAX_LINE_BYTES + 2)
        number += 1
        if not raw:
            yield Ending("end_of_file", offset, number)
            return
        if not raw.endswith(b"\n"):
            if len(raw) > MAX_LINE_BYTES:
                yield Ending("malformed", offset, number, f"longer than {MAX_LINE_BYTES} bytes")
            else:
                yield Ending("torn", offset, number, "the file ends in the middle of a line")
            return
        try:
            line = parse_line(raw[:-1])
        except MalformedLine as error:
            yield Ending("malformed", offset, number, str(error))
            return
        offset += len(raw)
        yield line

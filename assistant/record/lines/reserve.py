"""The reserve kept ahead at the end of an open record: zero bytes, which no line can hold.

An append then writes over bytes that the disk has already given it, so that its sync has no new length to pay for. The
reserve goes before the seal is written: a sealed record ends with its last line. A crash may leave some behind, and the
last decision in it only in part, in whatever order the disk took its sectors.
"""

from __future__ import annotations

import os
import re

from assistant.record.lines.envelope import AFTER_SEAL, MalformedLine, parse_line

RESERVE_BYTES = 1 << 18  # some five hundred facts: less than one append in a hundred makes a new one
MOST_RESERVE_BYTES = 1 << 22  # no crash leaves more after the last whole line than a decision and its reserve
SECTOR_BYTES = 512  # the least that a disk writes whole
# Without fdatasync (macOS, Windows) each sync pays for the file's times anyway, so a reserve would gain nothing.
CAN_RESERVE = hasattr(os, "fdatasync")

_ZEROS = re.compile(rb"\0+")


def is_part_of_one_decision(tail: bytes, at: int) -> bool:
    """Whether `tail`, which begins at byte `at` of its file, can be one decision of which the disk took only some
    sectors: what is missing is missing by whole sectors, and every whole line is of one moment, in its order."""
    tail = tail.rstrip(b"\0")
    if b"\0" not in tail or len(tail) > MOST_RESERVE_BYTES:
        return False
    for hole in _ZEROS.finditer(tail):
        first, end = at + hole.start(), at + hole.end()
        if end % SECTOR_BYTES or (first % SECTOR_BYTES and hole.start()):
            return False
    moment, last = None, 0
    *ended, _ = tail.split(b"\n")
    for piece in ended:
        if b"\0" in piece:
            continue
        try:
            line = parse_line(piece)
        except MalformedLine:
            return False
        if moment not in (None, (line.t_ms, line.wall)) or line.seq <= last:
            return False
        if line.kind == "record_sealed" or line.kind in AFTER_SEAL:
            return False  # these are never written into it
        moment, last = (line.t_ms, line.wall), line.seq
    return True

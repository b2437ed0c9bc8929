"""How much memory a process holds, with the processes it started (the speech library has one of its own)."""

from __future__ import annotations

import os
import sys
from pathlib import Path

_MIB = 1 << 20


def rss_mib() -> float | None:
    """Resident MiB of this process and all below it; None where the system doesn't tell (only Linux does here)."""
    if not sys.platform.startswith("linux"):
        return None
    own, *below = _family(os.getpid())
    return round((_resident(own, "Rss:") + sum(_resident(pid, "Pss:") for pid in below)) / _MIB, 1)


def _family(pid: int) -> list[int]:
    found, todo = [], [pid]
    while todo:
        now = todo.pop()
        found.append(now)
        for task in Path(f"/proc/{now}/task").glob("*/children"):
            try:
                todo += [int(child) for child in task.read_text().split()]
            except OSError:
                continue   # it ended meanwhile
    return found


def _resident(pid: int, row: str) -> int:
    """Bytes. "Rss:" counts every page a process has; "Pss:" splits what a forked worker shares with its parent, so that
    one model isn't counted twice."""
    try:
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
            if line.startswith(row):
                return int(line.split()[1]) * 1024
    except (OSError, ValueError, IndexError):
        pass   # it ended meanwhile
    return 0

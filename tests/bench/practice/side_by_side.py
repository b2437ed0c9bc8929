"""Work shared out over processes; what comes of it is taken up in the order of the work, however many there are."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import TypeVar

from assistant.errors import GauntletError

Item, Result = TypeVar("Item"), TypeVar("Result")


def cores() -> int:
    """The cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def side_by_side(work: Callable[[Item], Result], items: Sequence[Item], jobs: int) -> Iterator[tuple[Item, Result]]:
    """Each item with what `work` makes of it, in the order of `items`, up to `jobs` at a time. `work` and items must
    be picklable where `jobs` is above 1. Raises what `work` raises, and leaves the rest undone; GauntletError where a
    process was ended."""
    if jobs < 2 or len(items) < 2:
        for item in items:
            yield item, work(item)
        return
    # Not forked: a process with engines and threads can't be copied safely.
    pool = ProcessPoolExecutor(
        min(jobs, len(items)), mp_context=multiprocessing.get_context("spawn"), initializer=_end_quietly
    )
    finished = False
    try:
        yield from zip(items, pool.map(work, items), strict=True)
        finished = True
    except BrokenProcessPool as error:
        raise GauntletError(
            "A process that did part of the work was ended from outside.",
            try_next="start again with fewer --jobs; with --journal what is finished is kept",
        ) from error
    finally:
        # What is still at work is waited for only where all is done: a pool left to end by itself may be ending while
        # the interpreter does, which then complains of a pipe already closed.
        pool.shutdown(wait=finished, cancel_futures=True)


def _end_quietly() -> None:
    """Ctrl-C ends a worker at once; the process that started it says so."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)

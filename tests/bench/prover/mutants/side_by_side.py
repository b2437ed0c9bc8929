"""Every seeded fault judged, shared over processes. What is found doesn't depend on how many there are."""

from __future__ import annotations

import multiprocessing
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import cache

from tests.bench.prover.mutants.judge import BASES, Bases, Judged, Mutant, judge, mutants

Say = Callable[[int, int], None]  # (judged by now, of how many)


def judge_all(jobs: int, every: int = 1, on_progress: Say = lambda done, of: None) -> list[Judged]:
    """The verdict on each so-manieth fault, in the order the faults are made in, whatever `jobs` is."""
    numbers = range(0, len(_faults()[1]), every)
    found: list[Judged] = []
    if jobs == 1:
        for number in numbers:
            found.append(_judge(number))
            on_progress(len(found), len(numbers))
        return found
    way = "fork" if sys.platform == "linux" else "spawn"
    with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context(way)) as pool:
        for judged in pool.map(_judge, numbers):
            found.append(judged)
            on_progress(len(found), len(numbers))
    return found


def refuted_bases() -> list[str]:
    """The bases themselves, searched as the faults are: names of those refuted (none, or the count is worthless)."""
    bases = _faults()[0]
    return [n for n in BASES if judge(bases, Mutant(n, n, bases.get(n)[0])).verdict == "refuted"]


@cache
def _faults() -> tuple[Bases, list[Mutant]]:
    """The faults are made again in each process: a number stands for the same one everywhere."""
    bases = Bases()
    return bases, list(mutants(bases))


def _judge(number: int) -> Judged:
    bases, every = _faults()
    return judge(bases, every[number])

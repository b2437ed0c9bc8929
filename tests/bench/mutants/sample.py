"""Which mutants are run: all on given lines, or a seeded sample with every room's share in it."""

from __future__ import annotations

import random
from collections.abc import Sequence
from math import sqrt
from pathlib import Path

from tests.bench.mutants.areas import Area
from tests.bench.mutants.operators import Mutant, mutants


def pick(
    root: Path, areas: Sequence[Area], size: int | None, seed: int, only: dict[str, set[int]] | None = None
) -> dict[str, list[Mutant]]:
    """Area -> its mutants. The sample's shares are those of all mutants, so that its rate is theirs."""
    there = {
        area.name: [
            one
            for file in area.sources(root)
            for one in mutants(file, (root / file).read_text(encoding="utf-8"))
            if only is None or one.line in only.get(file, ())
        ]
        for area in areas
    }
    count = sum(len(found) for found in there.values())
    if size is None or size >= count:
        return there
    chance = random.Random(seed)
    chosen = {}
    for name, found in there.items():
        share = min(len(found), max(1, round(size * len(found) / count))) if found else 0
        chosen[name] = sorted(chance.sample(found, share), key=lambda one: (one.file, one.number))
    return chosen


def wilson(hits: int, count: int, z: float = 1.959964) -> tuple[float, float]:
    """Wilson's 95 % interval of a share."""
    share, part = hits / count, z * z / count
    middle = (share + part / 2) / (1 + part)
    half = z * sqrt(share * (1 - share) / count + part / (4 * count)) / (1 + part)
    return max(0.0, middle - half), min(1.0, middle + half)

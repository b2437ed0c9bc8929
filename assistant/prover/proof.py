"""`prove_plan` and `prove_procedure`: every assignment of the start questions searched, on two processes."""

from __future__ import annotations

import itertools
import multiprocessing
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from typing import Any

from assistant.errors import GauntletError
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import Loaded
from assistant.procedure.model.plan import Plan
from assistant.prover.bounds import Bounds, bounds_for
from assistant.prover.moves import TODAY
from assistant.prover.properties import PROPERTIES
from assistant.prover.requirements import Requirements, of_files, of_plan
from assistant.prover.script import in_words, script_lines, step_at_hand
from assistant.prover.search import Path, Refutation, Result, Search

_ALL_COMBINATIONS = 60  # steps x assignments up to which mishaps are tried under every assignment
_SHORTEN = 3_000  # transitions spent on looking for a shorter counterexample
Say = Callable[[str], None]


class NothingVisited(GauntletError):
    """A proof that looked at nothing proves nothing."""

    exit_code = 1


@dataclass(frozen=True)
class Counterexample:
    """How to break a property: `words` one line per input, `script` the lines `assistant run --script` replays.
    `shortest`: every shorter run was tried. `step`: the last step at hand, as it is spoken and where its file has it."""

    prop: str
    text: str
    words: tuple[str, ...]
    script: tuple[str, ...]
    shortest: bool
    path: Path = ()
    step: str = ""

    def as_json(self) -> dict[str, Any]:
        return {"property": self.prop, "text": self.text, "words": list(self.words), "script": list(self.script),
                "shortest": self.shortest, "step": self.step}


@dataclass
class Proof:
    """The outcome for one procedure. `properties`: id -> proven, bounded, refuted or open (not settled)."""

    name: str
    proven: bool
    properties: dict[str, str]
    states: int
    transitions: int
    seconds: float
    bounded: str
    counterexample: Counterexample | None = None
    ends: dict[str, int] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """As `assistant prove --json` prints it."""
        return {
            "name": self.name, "proven": self.proven, "properties": self.properties, "states": self.states,
            "transitions": self.transitions, "seconds": round(self.seconds, 2), "bounded": self.bounded,
            "counterexample": self.counterexample.as_json() if self.counterexample else None, "ends": self.ends,
        }


@dataclass(frozen=True)
class Slice:
    """One share of the work: the answers at the start, and where in it mishaps are tried (None: everywhere)."""

    options: tuple[tuple[str, bool], ...]
    at_steps: frozenset[str] | None
    part: int = 0
    parts: int = 1


def slices_for(plan: Plan, processes: int = 2) -> list[Slice]:
    """Every assignment; mishaps at every step under at least one assignment that has it (small procedures: all)."""
    names = [o.id for o in plan.options]
    assignments = [
        tuple(zip(names, values, strict=True)) for values in itertools.product((True, False), repeat=len(names))
    ]
    everywhere = len(plan.steps) * len(assignments) <= _ALL_COMBINATIONS
    left = {s.id for s in plan.steps}
    found: list[Slice] = []
    for assignment in assignments:
        given = dict(assignment)
        here = {s.id for s in plan.steps if all(given.get(w.option) == w.equals for w in s.when)}
        at = None if everywhere else frozenset((here & left) | ({""} if not found else set()))
        left -= here
        parts = processes if at is None or len(at) > 12 else 1
        found += [Slice(assignment, at, part, parts) for part in range(parts)]
    return found


def _search(plan: Plan, need: Requirements, piece: Slice, bounds: Bounds, name: str, shown: bool) -> Result:
    started = last = time.monotonic()

    def progress(states: int, transitions: int) -> None:
        nonlocal last
        if shown and time.monotonic() - last > 3:
            last = time.monotonic()
            print(f"  {name}: {states} states, {transitions} transitions, {last - started:.0f} s", file=sys.stderr)

    return Search(
        plan, need, dict(piece.options), bounds, part=piece.part, parts=piece.parts, at_steps=piece.at_steps,
        progress=progress,
    ).run()


def prove_plan(
    plan: Plan, need: Requirements | None = None, *, bounds: Bounds | None = None, processes: int = 2,
    shown: bool = False, shorten: bool = True, name: str = "",
) -> Proof:
    """Search everything within `bounds`. Without `need` the requirements are read off the plan itself (weaker).
    `shown`: progress on stderr. Raises NothingVisited."""
    started = time.monotonic()
    need = need or of_plan(plan)
    if not plan.today:
        plan = replace(plan, today=TODAY)
    bounds = bounds or bounds_for(len(plan.steps), len(plan.options))
    name = name or plan.procedure
    pieces = slices_for(plan, processes)
    results = list(_run(plan, need, pieces, bounds, name, shown, processes))
    states = sum(r.states for r in results)
    transitions = sum(r.transitions for r in results)
    ends: dict[str, int] = {}
    for result in results:
        for mode, count in result.ends.items():
            ends[mode] = ends.get(mode, 0) + count
    refuted = min((r.refuted for r in results if r.refuted), key=lambda r: len(r.path), default=None)
    if refuted is None and (states < 2 or not ends.get("complete")):
        raise NothingVisited("The proof visited nothing.", where=name, expected="at least one complete run")
    cut = any(r.cut for r in results)
    status = dict.fromkeys(PROPERTIES, "bounded")
    status["stands_alone"] = status["nothing_idle"] = "proven"  # one run per assignment, and every assignment is tried
    counterexample = None
    if refuted is not None:
        status = {p: "refuted" if p == refuted.prop else "open" for p in PROPERTIES}
        piece = next(q for q, r in zip(pieces, results, strict=False) if r.refuted is refuted)
        counterexample = _counterexample(plan, need, piece, bounds, refuted, shorten)
    elif cut:
        status = dict.fromkeys(PROPERTIES, "open")
    return Proof(
        name, refuted is None and not cut, status, states, transitions, time.monotonic() - started,
        bounds.sentence() + _where(pieces), counterexample, ends,
    )


def _where(pieces: list[Slice]) -> str:
    if all(q.at_steps is None for q in pieces):
        return ""
    return "; mishaps at every step under one set of answers that has it, everything else under every set"


def _run(
    plan: Plan, need: Requirements, pieces: list[Slice], bounds: Bounds, name: str, shown: bool, processes: int,
) -> Iterator[Result]:
    if processes < 2 or len(pieces) < 2:
        for piece in pieces:
            result = _search(plan, need, piece, bounds, name, shown)
            yield result
            if result.refuted:
                return
        return
    way = "fork" if "fork" in multiprocessing.get_all_start_methods() and sys.platform == "linux" else "spawn"
    with ProcessPoolExecutor(processes, mp_context=multiprocessing.get_context(way)) as pool:
        jobs = [pool.submit(_search, plan, need, piece, bounds, name, shown) for piece in pieces]
        stop = False
        for job in jobs:
            if stop and job.cancel():
                yield Result()
                continue
            result = job.result()
            stop = stop or result.refuted is not None
            yield result


def _counterexample(
    plan: Plan, need: Requirements, piece: Slice, bounds: Bounds, refuted: Refutation, shorten: bool
) -> Counterexample:
    shortest = False
    if shorten and refuted.prop not in ("can_finish", "answerable", "stands_alone"):
        search = Search(plan, need, dict(piece.options), bounds, only=refuted.prop)
        tried = search.nearest(len(refuted.path), _SHORTEN)
        shortest = not tried.cut
        refuted = tried.refuted or refuted
    path = refuted.path
    return Counterexample(
        refuted.prop, refuted.text, tuple(in_words(plan, path)), tuple(script_lines(path)), shortest, path,
        step_at_hand(plan, need, path))


def prove_procedure(loaded: Loaded, **how: Any) -> Proof:
    """The proof of a loaded procedure against the requirements of its own files."""
    return prove_plan(compile_plan(loaded), of_files(loaded), name=loaded.procedure.id, **how)

"""The same procedure through both: the project's own search and Debian's `spin`. Verdicts and projected states must
agree, for the procedure as it is, for a broken twin of it (two of its steps swapped), and for each twin that forgets a
step by which used wipes leave."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.prover.bounds import Bounds
from assistant.prover.moves import TODAY
from assistant.prover.requirements import of_files
from assistant.prover.search import Search
from assistant.session.state import State
from tests.bench.prover.spin.promela import Model, load, read

SITE = Path(__file__).parent / "site"
MODELS = {  # name -> the two steps that are swapped in its broken twin
    "bench-doors": ("close_outer", "open_inner"), "bench-wipes": ("hands_in", "hands_out"),
    "bench-both": ("close_outer", "hands_in"),
}
_TIMEOUT_S = 120
_WET = {"dirty": 0, "wet": 1, "clean": 2}
_CYCLE = {"running": 1, "complete": 2, "broken": 3}
_OVER = {"complete": 1, "stopped": 2}


def missing() -> str:
    """Why spin can't be asked here, or ""."""
    lacking = [tool for tool in ("spin", "gcc") if shutil.which(tool) is None]
    return f"{' and '.join(lacking)} not installed" if lacking else ""


def compare(name: str) -> dict[str, Any]:
    """{name, agree, states, verdict, broken_verdict, without_waste_step}; `only_here` and `only_spin` hold states just one has seen."""
    procedure = load(SITE / "procedures" / f"{name}.yaml")
    ours_holds, ours = search(name, procedure)
    theirs_holds, theirs = spin(procedure)
    broken = swapped(procedure, *MODELS[name])
    ours_broken, _ = search(name, broken)
    theirs_broken, _ = spin(broken)
    no_way_out = {}
    for step in waste_steps(procedure):
        forgotten = without(procedure, step)
        no_way_out[step] = [search(name, forgotten)[0], spin(forgotten)[0]]
    return {
        "name": name, "states": len(theirs), "verdict": [ours_holds, theirs_holds],
        "broken_verdict": [ours_broken, theirs_broken], "without_waste_step": no_way_out,
        "only_here": [list(s) for s in sorted(ours - theirs)], "only_spin": [list(s) for s in sorted(theirs - ours)],
        "agree": bool(theirs) and ours == theirs and ours_holds == theirs_holds is True
        and ours_broken == theirs_broken is False and all(v == [False, False] for v in no_way_out.values()),
    }


def swapped(procedure: dict[str, Any], one: str, other: str) -> dict[str, Any]:
    """The procedure with two steps in each other's place."""
    changed = deepcopy(procedure)
    at = {s["id"]: i for i, s in enumerate(changed["steps"])}
    i, j = at[one], at[other]
    changed["steps"][i], changed["steps"][j] = changed["steps"][j], changed["steps"][i]
    return changed


def waste_steps(procedure: dict[str, Any]) -> list[str]:
    """The steps by which used wipes leave, the change of gloves among them."""
    return [s["id"] for s in procedure["steps"] if s.get("role")]


def without(procedure: dict[str, Any], step: str) -> dict[str, Any]:
    """The procedure with one step forgotten."""
    return {**deepcopy(procedure), "steps": [deepcopy(s) for s in procedure["steps"] if s["id"] != step]}


def search(name: str, procedure: dict[str, Any]) -> tuple[bool, set[tuple[int, ...]]]:
    """(holds, projected states) by the project's own search, without mishaps, any moment."""
    with tempfile.TemporaryDirectory() as folder:
        site = Path(folder) / "site"
        shutil.copytree(SITE, site)
        with (site / "procedures" / f"{name}.yaml").open("w", encoding="utf-8") as file:
            YAML(typ="safe").dump(procedure, file)
        loaded = load_procedure(name, site)
        plan, need = replace(compile_plan(loaded), today=TODAY), of_files(loaded)
    facts = read(SITE, procedure)
    found: set[tuple[int, ...]] = set()
    holds = True
    names = [o.id for o in plan.options]
    for number in range(2 ** len(names)):
        options = {o: bool(number >> i & 1) for i, o in enumerate(names)}
        one = Search(plan, need, options, Bounds(depth=0, moments=None))
        holds = one.run().refuted is None and holds
        for state in one.states:
            if state is not None:
                found.add(_project(state, facts))
    return holds, found


def _project(state: State, facts) -> tuple[int, ...]:
    row = [int(s["id"] in state.main.done) for s in facts.steps]
    row += [int(state.hands == "gauntlets"), int(state.mode == "stopping" or state.mode == "stopped")]
    row.append(_OVER.get(state.verdict, 0))
    row += [int(state.openings[o] == "open") for o in facts.openings]
    row += [_CYCLE[state.cycles[c].status] if c in state.cycles else 0 for c in facts.cycles]
    row += [_WET[state.surfaces[s]] for s in facts.surfaces]
    row += [int(state.options[o]) if o in state.options else 2 for o in facts.options]
    return tuple(row)


def spin(procedure: dict[str, Any]) -> tuple[bool, set[tuple[int, ...]]]:
    """(holds, projected states) by spin, exhaustively."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "model.pml").write_text(Model(read(SITE, procedure)).text(), encoding="utf-8")
        _call(["spin", "-a", "model.pml"], folder)
        _call(["gcc", "-O1", "-w", "-DSAFETY", "-o", "pan", "pan.c"], folder)
        out = _call(["./pan", "-m100000"], folder)
    states = {tuple(int(x) for x in line.split()[1:]) for line in out.splitlines() if line.startswith("S ")}
    return "errors: 0" in out, states


def _call(command: list[str], folder: str) -> str:
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=_TIMEOUT_S, check=False)
    if done.returncode and command[0] != "./pan":
        raise RuntimeError(f"{command[0]} failed: {done.stdout[-400:]} {done.stderr[-400:]}")
    return done.stdout

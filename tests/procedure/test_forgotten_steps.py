"""Every wait and every change of gloves that a shipped procedure has: dropped, one at a time, the check names it.

The steps themselves are common practice, no source; that a used wipe, a worn glove or a running contact mustn't be
forgotten is what the site's paper procedures ask for.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from assistant.procedure.commands.check_cli import check_all
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure, procedure_names
from assistant.procedure.loading.source import default_folder
from assistant.procedure.rules.check import check_procedure
from assistant.procedure.rules.walk import Context
from assistant.prover.bounds import Bounds
from assistant.prover.proof import prove_procedure

GLOVES = ("outer_glove_change", "sleeve_change")
SMALL = ("gb-2-start-of-day", "gb-2-end-of-day", "gb-2-spill-inside", "gb-2-glove-sleeve-change", "pi-1-under-work-surface")
# (procedure, file, step): nothing is lost by it. `_stands_for_nothing` says why, for each.
HARMLESS = {("pi-1-under-work-surface", "procedures/parts/under-tray.yaml", "first_done")}


def _found(loaded) -> list[tuple[str, int, str]]:
    """(file, line, id) of each such step, as often as it is written."""
    flat = [*loaded.steps, *(s for m in loaded.mishaps for s in m.steps)]
    ours = [s.model for s in flat if s.model.do == "wait" or getattr(s.model, "role", None) in GLOVES]
    return list(dict.fromkeys((m.file, loaded.place(m, "")[1], m.id) for m in ours))


CASES = [(name, *found) for name in procedure_names() for found in _found(load_procedure(name))]


def _without(tmp_path: Path, file: str, line: int) -> Path:
    """A copy of the shipped files without the step that begins at a line."""
    folder = tmp_path / "procedures"
    shutil.copytree(default_folder(), folder)
    path = tmp_path / file
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    depth = _depth(lines[line - 1])
    end = next((n for n in range(line, len(lines)) if lines[n].strip() and _depth(lines[n]) <= depth), len(lines))
    assert lines[line - 1].lstrip().startswith("- ")
    path.write_text("".join(lines[: line - 1] + lines[end:]), encoding="utf-8")
    return folder


def _depth(line: str) -> int:
    return len(line) - len(line.lstrip())


def _named(name: str, folder: Path) -> list[tuple[str, int, str]]:
    checked = check_all((name,), folder)
    found = [(f.file, f.line, f.suggestion) for f in checked.findings]
    return found + [(p.file, p.line, p.try_next or p.expected) for p in checked.unreadable]


def _harmless(case) -> bool:
    name, file, _, step = case
    return (name, file, step) in HARMLESS


def test_there_are_waits_and_changes_of_gloves_to_forget_in_every_procedure():
    assert {case[0] for case in CASES} == set(procedure_names()) and len(CASES) >= 70


@pytest.mark.full
@pytest.mark.parametrize("case", [c for c in CASES if not _harmless(c)], ids=lambda c: f"{c[0]}:{c[3]}:{c[2]}")
def test_each_that_is_dropped_is_named_at_a_line_with_what_to_do(case, tmp_path):
    _is_named(case, tmp_path)


# One of each kind, so that the usual run sees them too.
@pytest.mark.parametrize("step", ["alcohol_done", "window_acted", "change_gloves", "fresh_gloves", "residue_gone", "acted"])
def test_those_of_the_light_clean_are_named(step, tmp_path):
    for number, case in enumerate(c for c in CASES if c[0] == "gb-2-light-clean" and c[3] == step):
        _is_named(case, tmp_path / str(number))


def _is_named(case, tmp_path: Path) -> None:
    name, file, line, step = case
    folder = _without(tmp_path, file, line)
    named = _named(name, folder)
    assert named, f"nothing says that {step} of {file}:{line} is missing"
    for where, at, suggestion in named:
        assert 1 <= at <= len((tmp_path / where).read_text(encoding="utf-8").splitlines()) and suggestion


@pytest.mark.parametrize("case", [c for c in CASES if _harmless(c)], ids=lambda c: f"{c[0]}:{c[3]}")
def test_one_that_nobody_names_stands_for_no_contact_and_the_proof_holds_without_it(case, tmp_path):
    name, file, line, step = case
    _stands_for_nothing(name, file, step)
    folder = _without(tmp_path, file, line)
    loaded = load_procedure(name, folder)
    assert check_procedure(loaded) == []
    assert name in SMALL
    assert prove_procedure(loaded, bounds=Bounds(depth=1, moments=1), processes=1).proven


def _stands_for_nothing(name: str, file: str, step: str) -> None:
    """At every place where the wait stands, under every answer, nothing that it names runs: the agents used until then
    need no contact time, and no cycle is meant."""
    loaded = load_procedure(name)
    context = Context(loaded, compile_plan(loaded))
    visits = [v for v in context.visits() if v.flat.model.file == file and v.flat.model.id == step]
    assert visits
    for v in visits:
        assert v.step.kind == "wait" and not set(v.step.wait_for) & set(context.plan.cycles)
        named = set(v.running) if "*" in v.step.wait_for else set(v.step.wait_for)
        assert not named & set(v.running)


@pytest.mark.full
@pytest.mark.parametrize("case", [c for c in CASES if c[0] in SMALL and not _harmless(c)],
                         ids=lambda c: f"{c[0]}:{c[3]}:{c[2]}")
def test_the_proof_of_a_small_procedure_without_it_comes_to_an_end(case, tmp_path):
    """What the check names the proof needn't: the core waits by itself. But it never breaks down on such a file, and
    where used wipes are concerned it refutes it."""
    name, file, line, step = case
    folder = _without(tmp_path, file, line)
    proof = prove_procedure(load_procedure(name, folder), bounds=Bounds(depth=0, moments=1), processes=1)
    assert proof.states > 0
    if step == "change_gloves":
        assert proof.counterexample is not None and proof.counterexample.prop == "waste_out"

"""Dependencies point inward: no room reaches where the house plan doesn't let it, and the core stays pure.

The tables below are the plan. A new room, or a new part of the procedure model, is one line here.
"""

from __future__ import annotations

import ast
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
EVERYTHING = ("assistant",)
SMALL_BASE = ("assistant", "assistant.errors")  # `assistant` alone: its version

CORE = ("assistant.session", "assistant.language", "assistant.calc", "assistant.procedure.model", "assistant.errors")
FILES = ("assistant.language", "assistant.calc", "assistant.procedure.model", "assistant.errors")
WIRE = ("assistant.language.vocabulary", "assistant.session.facts", "assistant.session.wire")

# Who (module prefix; the longest that fits counts) -> what it may import of this project (prefixes, but a bare
# "assistant" in SMALL_BASE means the package itself). "assistant.procedure.model" is its pure part.
MAY_IMPORT: dict[str, tuple[str, ...]] = {
    "assistant.errors": (),
    "assistant.session": CORE,
    "assistant.language": ("assistant.language", "assistant.errors"),
    "assistant.calc": CORE,
    "assistant.procedure.model": FILES,
    # What a procedure is knows nothing of running one.
    "assistant.procedure": (*FILES, "assistant.procedure"),
    # Commands, not the room itself: a site's own spoken words are held to how they sound.
    "assistant.procedure.commands": (*FILES, "assistant.procedure", "assistant.hearing"),
    # What a value may begin with, sign by sign, is one rule for listener and core.
    "assistant.hearing": ("assistant.hearing", "assistant.language.spelling", *WIRE),
    "assistant.speaking": ("assistant.speaking", *WIRE),
    "assistant.record": ("assistant.record", *WIRE),
    # Opens a record again and tells it: of the record room only what reads and checks.
    "assistant.account": (*CORE, "assistant.account", "assistant.procedure", "assistant.record.reader",
                          "assistant.record.lines", "assistant.record.verify"),
    "assistant.practice": (*CORE, "assistant.account", "assistant.practice", "assistant.procedure", "assistant.hearing",
                           "assistant.speaking", "assistant.station"),
    "assistant.review": (*CORE, "assistant.account", "assistant.review", "assistant.record", "assistant.procedure"),
    # Hands the pages a voice and the trainees' evidence as plain functions; the pages themselves know neither room.
    "assistant.review.serving.wiring": ("assistant.review", "assistant.record", "assistant.speaking",
                                        "assistant.practice"),
    # The proof drives the real core; its monitor reads the site's files and never asks the core's predicates.
    "assistant.prover": (*CORE, "assistant.prover", "assistant.procedure"),
    "assistant.bootstrap": ("assistant.bootstrap", "assistant.cli"),
    "assistant.__main__": ("assistant.bootstrap",),
    "assistant.lazy_commands": ("assistant.errors",),
    "assistant.run_command": (),
    # These wire the rooms together.
    "assistant.station": ("assistant.account", "assistant.errors", "assistant.session", "assistant.language", "assistant.calc",
                          "assistant.procedure", "assistant.hearing", "assistant.speaking", "assistant.record",
                          "assistant.review", "assistant.prover", "assistant.station"),
    "assistant.demo": EVERYTHING,
    "assistant.cli": EVERYTHING,
    "assistant.selftest": EVERYTHING,
    "assistant.measure": ("assistant.lazy_commands",),
}
# Circles and rooms that import each other: what is left to mend. Both only shrink, and end empty.
CIRCLES_LEFT: tuple[tuple[str, ...], ...] = (
)
BOTH_WAYS_LEFT: tuple[tuple[str, str], ...] = ()
PURE = ("assistant.session", "assistant.language", "assistant.calc", "assistant.procedure.model")
PACKAGES_FOR_PURE = {"transitions", "pydantic", "typing_extensions"}

# What the core may not touch: clock, chance, files, threads, processes, network, the machine it runs on.
IMPURE_MODULES = {
    "asyncio", "concurrent", "ctypes", "fcntl", "getpass", "glob", "http", "io", "locale", "logging",
    "mmap", "msvcrt", "multiprocessing", "os", "pathlib", "pkgutil", "platform", "queue", "random", "sched", "secrets",
    "select", "shutil", "signal", "socket", "sqlite3", "ssl", "subprocess", "sys", "tempfile", "threading",
    "time", "urllib", "uuid", "wave", "weakref",
}
IMPURE_CALLS = {"now", "utcnow", "today"}  # of datetime and date
IMPURE_BUILTINS = {"open", "input", "print", "eval", "exec"}


@dataclass(frozen=True)
class Import:
    """One import: who, of what (as full a name as can be told), in which line."""

    module: str
    target: str
    line: int


def modules(package: Path) -> dict[str, Path]:
    """Module name -> file, for every Python file of the package."""
    found = {}
    for path in sorted(package.rglob("*.py")):
        parts = [package.name, *path.relative_to(package).with_suffix("").parts]
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imports(module: str, path: Path, known: dict[str, Path]) -> Iterator[Import]:
    """Every import in the file, those inside functions and those by import_module("...") too."""
    package = module if path.name == "__init__.py" else module.rpartition(".")[0]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield Import(module, alias.name, node.lineno)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = package.split(".")[: len(package.split(".")) - (node.level - 1)]
                base = ".".join([*above, *([base] if base else [])])
            for alias in node.names:
                full = f"{base}.{alias.name}"
                yield Import(module, full if full in known else base, node.lineno)
        elif isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if name in ("import_module", "__import__") and isinstance(node.args[0].value, str):
                yield Import(module, node.args[0].value, node.lineno)


def within(module: str, prefix: str) -> bool:
    """True if `module` is `prefix` or inside it."""
    return module == prefix or module.startswith((f"{prefix}.", f"{prefix}:"))


def rule_for(module: str) -> str | None:
    """The longest entry of MAY_IMPORT that the module falls under."""
    fitting = [prefix for prefix in MAY_IMPORT if within(module, prefix)]
    return max(fitting, key=len, default=None)


def wrong_imports(package: Path, only: str = "") -> tuple[list[str], int]:
    """Complaints about imports, and how many imports were looked at; of one file, or all where `only` is ""."""
    known, complaints, seen = modules(package), [], 0
    for module, path in known.items():
        if only and path != package / only:
            continue
        who = module
        rule = rule_for(who)
        pure = any(within(who, prefix) for prefix in PURE)
        for found in imports(module, path, known):
            seen += 1
            where = f"{path.relative_to(package.parent).as_posix()}:{found.line}"
            top = found.target.split(".")[0]
            if top == "assistant":
                target = found.target
                if module == "assistant" or target in SMALL_BASE:
                    continue
                if rule is None:
                    complaints.append(f"{where}: {module} is in no room of the plan (tests/test_rooms.py)")
                elif not any(within(target, prefix) for prefix in MAY_IMPORT[rule]):
                    complaints.append(f"{where}: {rule} may not import {found.target}")
            elif pure and top in IMPURE_MODULES:
                complaints.append(f"{where}: the core may not touch {top}")
            elif pure and not is_standard(top) and top not in PACKAGES_FOR_PURE:
                complaints.append(f"{where}: the core may not use the package {top}")
    return complaints, seen


def is_standard(top: str) -> bool:
    import sys

    return top in sys.stdlib_module_names


def impure_calls(package: Path, only: str = "") -> tuple[list[str], int]:
    """Complaints about calls in the core that read a clock or touch a file, and how many files were read."""
    known, complaints, seen = modules(package), [], 0
    for module, path in known.items():
        if only and path != package / only:
            continue
        if not any(within(module, prefix) for prefix in PURE):
            continue
        seen += 1
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            where = f"{path.relative_to(package.parent).as_posix()}:{getattr(node, 'lineno', 0)}"
            if isinstance(node, ast.Attribute) and node.attr in IMPURE_CALLS and "date" in ast.unparse(node.value):
                complaints.append(f"{where}: the core may not read a clock ({ast.unparse(node)})")
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in IMPURE_BUILTINS:
                complaints.append(f"{where}: the core may not call {node.func.id}")
    return complaints, seen


def reaches(package: Path) -> dict[str, set[str]]:
    """Module -> the project's modules it imports, at the top or late."""
    known = modules(package)
    graph: dict[str, set[str]] = {module: set() for module in known}
    for module, path in known.items():
        for found in imports(module, path, known):
            target = found.target
            while target and target not in known:
                target = target.rpartition(".")[0]
            if target not in ("", module, package.name):
                graph[module].add(target)
    return graph


def circles(graph: dict[str, set[str]]) -> list[tuple[str, ...]]:
    """Sets of modules that reach one another (strongly connected components of more than one)."""
    def beyond(start: str, way: dict[str, set[str]]) -> set[str]:
        seen, ahead = set(), [start]
        while ahead:
            for module in way[ahead.pop()] - seen:
                seen.add(module)
                ahead.append(module)
        return seen

    back: dict[str, set[str]] = {module: set() for module in graph}
    for module, targets in graph.items():
        for target in targets:
            back[target].add(module)
    found = {tuple(sorted(beyond(module, graph) & beyond(module, back))) for module in graph}
    return sorted(ring for ring in found if ring)


def both_ways(graph: dict[str, set[str]]) -> list[tuple[str, str]]:
    """Pairs of rooms of which each imports something of the other."""
    def room(module: str) -> str:
        return module.split(".")[1]

    pairs = {(room(module), room(target)) for module, targets in graph.items() for target in targets
             if module.count(".") and room(module) != room(target)}
    return sorted(pair for pair in pairs if pair[0] < pair[1] and pair[::-1] in pairs)


def test_modules_that_import_each_other_are_only_those_still_to_be_mended() -> None:
    assert circles(reaches(ROOT / "assistant")) == sorted(CIRCLES_LEFT)


def test_rooms_that_import_each_other_are_only_those_still_to_be_mended() -> None:
    assert both_ways(reaches(ROOT / "assistant")) == sorted(BOTH_WAYS_LEFT)


def test_a_late_import_that_closes_a_circle_is_seen(tmp_path: Path) -> None:
    for name, text in {"hall/a.py": "def f():\n    from assistant.hall import b\n",
                       "hall/b.py": "from assistant.yard import c\n", "yard/c.py": "import assistant.hall.a\n",
                       "yard/d.py": "import assistant.hall.a\n", "__init__.py": ""}.items():
        path = tmp_path / "assistant" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    graph = reaches(tmp_path / "assistant")
    assert circles(graph) == [("assistant.hall.a", "assistant.hall.b", "assistant.yard.c")]
    assert both_ways(graph) == [("hall", "yard")]


def test_no_room_reaches_where_it_may_not() -> None:
    complaints, seen = wrong_imports(ROOT / "assistant")
    assert seen > 100, "nothing was looked at"
    assert not complaints, "\n".join(complaints)


def test_the_core_calls_nothing_that_reads_clock_or_file() -> None:
    complaints, seen = impure_calls(ROOT / "assistant")
    assert seen > 5, "nothing was looked at"
    assert not complaints, "\n".join(complaints)


def test_the_procedure_model_is_found_where_the_tables_say() -> None:
    known = modules(ROOT / "assistant")
    model = {module for module in known if within(module, "assistant.procedure.model")}
    assert {"assistant.procedure.model", "assistant.procedure.model.kinds", "assistant.procedure.model.plan"} <= model
    assert "assistant.procedure.loading.yaml_tree" not in model


def test_every_folder_of_the_package_is_a_room_of_the_plan() -> None:
    folders = {path.parent.name for path in (ROOT / "assistant").glob("*/__init__.py")}
    assert folders
    assert not {name for name in folders if rule_for(f"assistant.{name}") is None}


PLANTED = [
    ("session/planted.py", "from assistant.hearing import listener\n", "may not import assistant.hearing"),
    ("session/planted.py", "def f():\n    import assistant.record.writer\n", "may not import assistant.record"),
    ("session/planted.py", "from ..speaking import voice\n", "may not import assistant.speaking"),
    ("session/planted.py", "import importlib\nimportlib.import_module('assistant.record')\n", "may not import"),
    ("session/planted.py", "import time\n", "may not touch time"),
    ("calc/planted.py", "from os import path\n", "may not touch os"),
    ("calc/planted.py", "import numpy as np\n", "may not use the package numpy"),
    ("procedure/model/planted.py", "import pathlib\n", "may not touch pathlib"),
    ("session/planted.py", "from assistant.procedure import load_planted\n", "may not import"),
    ("hearing/planted.py", "from assistant.speaking import voice\n", "may not import assistant.speaking"),
    ("hearing/planted.py", "from assistant.session import state\n", "may not import assistant.session.state"),
    ("record/planted.py", "from assistant.procedure import load_planted\n", "may not import assistant.procedure"),
    ("review/planted.py", "import assistant.station.loop\n", "may not import assistant.station"),
    ("station/planted.py", "def f():\n    from assistant.practice import simulate\n", "may not import assistant.practice"),
    ("bootstrap/planted.py", "import assistant.errors, assistant.record\n", "may not import assistant.record"),
    ("cellar/planted.py", "import assistant.record\n", "in no room of the plan"),
]
FITTING = [
    ("hearing/planted.py", "from assistant.language import vocabulary\n"),
    ("record/planted.py", "from assistant.session.facts import base\nimport os, time\n"),
    ("procedure/load_planted.py", "import pathlib\nfrom assistant.procedure.model import plan\n"),
    ("station/planted.py", "import assistant.record, assistant.hearing, time\n"),
    ("calc/planted.py", "import math\nfrom decimal import Decimal\nfrom assistant.errors import GauntletError\n"),
]


@pytest.fixture(scope="module")
def copied_package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    copy = tmp_path_factory.mktemp("house") / "assistant"
    shutil.copytree(ROOT / "assistant", copy, ignore=lambda folder, names: [
        name for name in names if not name.endswith(".py") and not (Path(folder) / name).is_dir()])
    (copy / "procedure" / "load_planted.py").write_text("")
    return copy


def plant(package: Path, name: str, text: str) -> None:
    (package / name).parent.mkdir(exist_ok=True)
    (package / name).write_text(text)


@pytest.mark.parametrize(("name", "text", "complaint"), PLANTED, ids=[f"{n}-{c}" for n, _, c in PLANTED])
def test_a_planted_bad_import_is_caught(copied_package: Path, name: str, text: str, complaint: str) -> None:
    plant(copied_package, name, text)
    caught, _ = wrong_imports(copied_package, name)
    assert len(caught) == 1, caught
    assert complaint in caught[0] and name in caught[0]


@pytest.mark.parametrize(("name", "text"), FITTING, ids=[name for name, _ in FITTING])
def test_a_planted_fitting_import_passes(copied_package: Path, name: str, text: str) -> None:
    plant(copied_package, name, text)
    complaints, seen = wrong_imports(copied_package, name)
    assert seen and not complaints


@pytest.mark.parametrize("text", ["from datetime import datetime\nx = datetime.now()\n",
                                  "import datetime\nx = datetime.date.today()\n", "x = open('a')\n"])
def test_a_planted_clock_or_file_call_in_the_core_is_caught(copied_package: Path, text: str) -> None:
    plant(copied_package, "session/planted.py", text)
    assert len(impure_calls(copied_package, "session/planted.py")[0]) == 1


def test_a_pure_file_passes(copied_package: Path) -> None:
    plant(copied_package, "session/planted.py", "from datetime import datetime\nx = datetime(2026, 1, 2)\n")
    assert impure_calls(copied_package, "session/planted.py") == ([], 1)

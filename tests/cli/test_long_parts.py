"""A full run begins with its longest parts, tells of each, and sums them up; the list of parts is kept true."""

from __future__ import annotations

import ast
from pathlib import Path
from types import SimpleNamespace

import pytest

from tests import long_parts
from tests.long_parts import PARTS, Progress, longest_first, name_of

ROOT = Path(__file__).resolve().parents[2]


def marked_full() -> set[str]:
    """Every test function that is marked full, or one of whose parameters is, read from the tests' source."""
    found = set()
    for path in (ROOT / "tests").rglob("test_*.py"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and any("mark.full" in ast.unparse(d) for d in node.decorator_list):
                found.add(f"{path.relative_to(ROOT).as_posix()}::{node.name}")
    return found


def test_every_test_that_is_marked_full_is_on_the_list():
    assert marked_full() - set(PARTS) == set()
    assert [name for name in PARTS if not (ROOT / name.split("::")[0]).is_file()] == []


def item(nodeid: str) -> SimpleNamespace:
    marks: list = []
    return SimpleNamespace(
        nodeid=nodeid, marks=marks, add_marker=marks.append,
        get_closest_marker=lambda name: next((m for m in marks if m.name == name), None),
    )  # fmt: skip


def test_the_longest_begin_first_the_rest_keeps_its_order_and_each_has_time_enough(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(long_parts, "PARTS", {"a.py::short": (5, ""), "b.py::long": (500, "")})
    names = ["z.py::one", "a.py::short[x]@group", "y.py::two", "b.py::long", "x.py::three"]
    items = [item(name) for name in names]
    items[3].add_marker(pytest.mark.timeout(77).mark)
    longest_first(items)
    assert [i.nodeid for i in items] == ["b.py::long", names[1], names[0], names[2], names[4]]
    assert [i.get_closest_marker("timeout") and i.get_closest_marker("timeout").args[0] for i in items] == [
        77, long_parts.LEAST_TIMEOUT_S, None, None, None,
    ]  # fmt: skip


class Terminal:
    def __init__(self) -> None:
        self.lines: list[str] = []

    def write_line(self, text: str) -> None:
        self.lines.append(text)

    def ensure_newline(self) -> None:
        pass

    def section(self, title: str) -> None:
        self.lines.append(title)


def test_the_run_tells_of_long_parts_only_and_sums_them_up():
    long, terminal = next(iter(PARTS)), Terminal()
    progress = Progress(terminal)  # type: ignore[arg-type]
    for nodeid, seconds, outcome in ((f"{long}[0]", 61.0, "passed"), ("t.py::s", 1.0, "passed"), (f"{long}[1]", 5.0, "failed")):
        progress.pytest_runtest_logstart(nodeid)
        for when, took, end in (("setup", 0.0, "passed"), ("call", seconds, outcome), ("teardown", 0.0, "passed")):
            progress.pytest_runtest_logreport(
                SimpleNamespace(nodeid=nodeid, when=when, duration=took, outcome=end, passed=end == "passed")
            )  # type: ignore[arg-type]
    progress.pytest_terminal_summary()
    assert len([line for line in terminal.lines if "begun" in line]) == 2
    assert any("2 tests done] failed after 0:05" in line for line in terminal.lines)
    assert terminal.lines[-1].split()[:4] == ["1:06", "2", "x", "failed,"] and PARTS[long][1] in terminal.lines[-1]
    assert name_of(f"{long}[0]@demo") == long

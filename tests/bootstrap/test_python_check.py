"""Which Pythons and machines are turned away, and with which sentence."""

from __future__ import annotations

import pytest

from assistant.bootstrap import python_check
from assistant.bootstrap.problem import StartProblem
from tests.bootstrap.fakes import SUITABLE, facts


@pytest.mark.parametrize("suitable", [
    SUITABLE,
    facts(machine="aarch64"),
    facts(machine="aarch64", version=(3, 13, 0)),
    facts(version=(3, 12, 1)),
    facts(system="darwin", machine="arm64", glibc=None),
    facts(system="win32", machine="amd64", glibc=None),
    facts(glibc=(2, 28)),
    facts(glibc=None),
])
def test_suitable_machines_pass(suitable: python_check.Facts) -> None:
    python_check.require_suitable(suitable)


ROWS = [
    ("pypy", facts(implementation="pypy"), "This Python is pypy", "CPython"),
    ("32-bit", facts(bits=32), "32-bit", "64-bit Python"),
    ("free-threaded", facts(free_threaded=True), "free-threaded", "ordinary build"),
    ("musl", facts(musl=True, glibc=None), "uses musl", "glibc"),
    ("old glibc", facts(glibc=(2, 17)), "glibc 2.17", "2019"),
    ("processor", facts(machine="riscv64"), "processor (riscv64)", "aarch64 or x86_64"),
    ("intel mac", facts(system="darwin", machine="x86_64", glibc=None), "processor (x86_64)", "arm64"),
    ("windows arm", facts(system="win32", machine="arm64", glibc=None), "processor (arm64)", "Intel build"),
    ("freebsd", facts(system="freebsd14", glibc=None), "freebsd14", "Linux, macOS or Windows"),
    ("gap", facts(machine="aarch64", version=(3, 12, 0)), "pocketsphinx", "python3.13 -m assistant"),
    ("no venv", facts(modules=frozenset({"ensurepip"})), "lacks its module venv", "python3.11-venv"),
    ("no ensurepip", facts(modules=frozenset({"venv"}), version=(3, 13, 0)), "ensurepip", "python3.13-venv"),
    ("no ensurepip elsewhere", facts(modules=frozenset(), system="darwin", machine="arm64", glibc=None),
     "lacks its module venv", "install Python anew"),
]


@pytest.mark.parametrize(("unsuitable", "what", "try_next"), [row[1:] for row in ROWS], ids=[r[0] for r in ROWS])
def test_unsuitable_machines_get_a_sentence_and_code_2(unsuitable: python_check.Facts, what: str,
                                                       try_next: str) -> None:
    with pytest.raises(StartProblem) as caught:
        python_check.require_suitable(unsuitable)
    assert what in caught.value.what
    assert try_next in caught.value.try_next
    assert caught.value.exit_code == 2
    assert caught.value.what.endswith(".")


def test_this_python_is_suitable() -> None:
    python_check.require_suitable(python_check.gather())

"""The lock files say what pyproject.toml says, all of it hashed, and name no address."""

from __future__ import annotations

import re
import sys
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from packaging.markers import Marker, default_environment
from packaging.requirements import Requirement

from assistant.bootstrap import locks
from tests.support import relock

ROOT = Path(__file__).resolve().parents[2]
FILES = sorted(locks.FOLDER.glob("*.txt"))
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def pins(lock: locks.Lock) -> dict[str, list[Requirement]]:
    """Package -> its pins in the lock, of all systems."""
    found: dict[str, list[Requirement]] = {}
    for line in relock.blocks(lock.read().decode()):
        requirement = Requirement(line)
        found.setdefault(normal(requirement.name), []).append(requirement)
    return found


def normal(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def surroundings() -> list[dict[str, str]]:
    systems = {"linux": ("Linux", "posix", "6.18.0"), "darwin": ("Darwin", "posix", "24.0.0"),
               "win32": ("Windows", "nt", "11")}
    return [{"sys_platform": system, "platform_system": name, "os_name": os_name, "platform_release": release,
             "python_version": python, "python_full_version": f"{python}.2", "implementation_name": "cpython",
             "platform_python_implementation": "CPython", "platform_machine": "arm64", "extra": ""}
            for system, (name, os_name, release) in systems.items() for python in ("3.11", "3.12", "3.13")]


@pytest.mark.parametrize("where", surroundings(), ids=lambda w: f"{w['sys_platform']}-{w['python_version']}")
def test_each_dependency_has_exactly_one_pin_that_fits(where: dict[str, str]) -> None:
    run, reading, test = pins(locks.RUN), pins(locks.READING), pins(locks.TEST)
    optional = PROJECT["optional-dependencies"]
    for text, lock in [*[(t, run) for t in PROJECT["dependencies"]],
                       *[(t, {**run, **reading}) for t in optional["reading"]],
                       *[(t, {**run, **test}) for t in optional["test"]]]:
        wanted = Requirement(text)
        if wanted.marker is not None and not wanted.marker.evaluate(where):
            continue
        fitting = [pin for pin in lock.get(normal(wanted.name), [])
                   if pin.marker is None or pin.marker.evaluate(where)]
        assert len(fitting) == 1, f"{text}: {fitting}; run python -m tests.support.relock"
        assert str(fitting[0].specifier) == str(wanted.specifier), "run python -m tests.support.relock"


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_every_pin_is_hashed_and_no_address_is_named(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    found = relock.blocks(text)
    assert found and "".join(found.values()) == text, "there is something else in the file"
    for pin, block in found.items():
        assert re.search(r"--hash=sha256:[0-9a-f]{64}\b", block), pin
    assert not re.search(r"://|--index|--find-links|\.org|\.com|/tmp|/work|/home", text)


def test_what_the_assistant_runs_with_is_pinned_in_one_place() -> None:
    assert not pins(locks.RUN).keys() & (pins(locks.TEST).keys() | pins(locks.READING).keys())


def test_the_tests_and_the_model_that_reads_agree_on_what_both_need() -> None:
    # Each layer is complete over the first one, as the tests also run where the model can't be installed.
    reading, test = blocks_by_name(locks.READING), blocks_by_name(locks.TEST)
    assert "packaging" in reading and "packaging" in test  # if not, the two have nothing to agree on
    for name in reading.keys() & test.keys():
        assert reading[name] == test[name], "run python -m tests.support.relock"


def blocks_by_name(lock: locks.Lock) -> dict[str, list[tuple[str, list[str]]]]:
    """Package -> its pins with their hashes."""
    found: dict[str, list[tuple[str, list[str]]]] = {}
    for pin, block in relock.blocks(lock.read().decode()).items():
        found.setdefault(normal(Requirement(pin).name), []).append((pin, re.findall(r"sha256:\w+", block)))
    return found


@pytest.mark.parametrize("lock", [locks.READING, locks.TEST], ids=lambda lock: lock.layer)
def test_a_layer_brings_all_that_its_packages_ask_for(lock: locks.Lock) -> None:
    where = {**default_environment(), "extra": ""}
    there = pins(locks.RUN).keys() | pins(lock).keys()
    asked = 0
    for name in pins(lock):
        try:
            needs = [Requirement(text) for text in metadata.requires(name) or ()]
        except metadata.PackageNotFoundError:  # a package for another system; the model where it isn't made
            continue
        for need in needs:
            if need.marker is None or need.marker.evaluate(where):
                assert normal(need.name) in there, f"{name} needs {need}"
                asked += 1
    if lock is locks.TEST:
        assert asked


def test_no_marker_that_pip_reads_outside_macos_compares_the_kernels_version() -> None:
    for lock in (locks.RUN, locks.READING, locks.TEST, locks.BUILD):
        for file in lock.files("linux"):
            assert "platform_release" not in file.read_text(encoding="utf-8")
    assert len(locks.RUN.files("darwin")) == 2 and len(locks.RUN.files("win32")) == 1


def test_packages_built_from_source_are_pinned_and_their_tools_too() -> None:
    assert set(locks.FROM_SOURCE) <= pins(locks.RUN).keys()
    assert list(pins(locks.BUILD)) == ["setuptools"]


def test_the_count_shown_is_about_right() -> None:
    text = locks.RUN.read().decode()
    for system in ("linux", "darwin", "win32"):
        where = next(w for w in surroundings() if w["sys_platform"] == system)
        exact = sum(1 for pin in relock.blocks(text)
                    if ";" not in pin or Marker(pin.partition(";")[2]).evaluate(where))
        assert abs(locks.count_pins(text, system) - exact) <= 10  # of 212 on macOS, of 56 elsewhere
    assert locks.count_pins(text, sys.platform) > 40


def test_blocks_and_select_split_a_lock_without_losing_a_line() -> None:
    text = "a==1 \\\n    --hash=sha256:00\n    # via b\nb==2 ; sys_platform == 'darwin' \\\n    --hash=sha256:01\n"
    assert list(relock.blocks(text)) == ["a==1", "b==2 ; sys_platform == 'darwin'"]
    assert relock.select(text, lambda pin: "darwin" not in pin) == text[: text.index("b==2")]


def test_line_ends_dont_change_the_key(tmp_path: Path) -> None:
    (tmp_path / "unix.txt").write_bytes(b"a==1\n")
    (tmp_path / "windows.txt").write_bytes(b"a==1\r\n")
    one, other = locks.Lock("run", tmp_path / "unix.txt"), locks.Lock("run", tmp_path / "windows.txt")
    assert one.sha256() == other.sha256()

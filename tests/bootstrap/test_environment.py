"""The environment is made once, whole, and anew where it is half-made."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from assistant.bootstrap.problem import StartProblem
from tests.bootstrap.fakes import FakePip, environment, fake_venv

ROOT = Path(__file__).resolve().parents[2]


def test_first_start_installs_build_tools_then_the_packages_and_stamps_last(tmp_path: Path) -> None:
    pip, said = FakePip(), []
    env = environment(tmp_path, pip, said)
    env.ensure(with_tests=False)
    assert pip.runs == ["build.txt", "run.txt", "reading.txt"]
    assert env.is_ready("run") and env.is_ready("reading") and not env.is_ready("test")
    assert said[0].startswith("First start") and said[-1].startswith("Ready after")


def test_second_start_does_nothing_and_says_nothing(tmp_path: Path) -> None:
    environment(tmp_path).ensure(with_tests=True)
    pip, said = FakePip(), []
    environment(tmp_path, pip, said).ensure(with_tests=True)
    assert pip.runs == [] and said == []


def test_selftest_adds_only_the_layer_of_the_tests(tmp_path: Path) -> None:
    environment(tmp_path).ensure(with_tests=False)
    pip = FakePip()
    env = environment(tmp_path, pip)
    env.ensure(with_tests=True)
    assert pip.runs == ["test.txt"]
    assert env.is_ready("run") and env.is_ready("test")


@pytest.mark.parametrize("where", ["build.txt", "run.txt", "reading.txt"])
def test_interrupted_first_start_is_built_anew(tmp_path: Path, where: str) -> None:
    env = environment(tmp_path, FakePip(where, KeyboardInterrupt()))
    with pytest.raises(KeyboardInterrupt):
        env.ensure(with_tests=False)
    assert not env.has(with_tests=False)
    leftover = env.folder / f"half-of-{where}"
    leftover.write_text("from the interrupted start")
    pip, said = FakePip(), []
    again = environment(tmp_path, pip, said)
    again.ensure(with_tests=False)
    assert again.has(with_tests=False)
    assert leftover.read_text() == "", "the old folder was kept"
    assert any("didn't finish" in line for line in said)


def test_interrupted_test_layer_is_built_anew_from_the_bottom(tmp_path: Path) -> None:
    env = environment(tmp_path, FakePip("test.txt", KeyboardInterrupt()))
    with pytest.raises(KeyboardInterrupt):
        env.ensure(with_tests=True)
    assert env.is_ready("run") and not env.is_ready("test")
    pip = FakePip()
    again = environment(tmp_path, pip)
    again.ensure(with_tests=True)
    assert pip.runs == ["build.txt", "run.txt", "reading.txt", "test.txt"]
    assert again.is_ready("test")


def test_environment_whose_python_is_gone_is_built_anew(tmp_path: Path) -> None:
    env = environment(tmp_path)
    env.ensure(with_tests=False)
    env.python.unlink()
    pip = FakePip()
    environment(tmp_path, pip).ensure(with_tests=False)
    assert pip.runs == ["build.txt", "run.txt", "reading.txt"]


@pytest.mark.parametrize("text", ["", "{", "[]", '{"lock_sha256": "other"}'])
def test_spoilt_stamp_counts_as_none(tmp_path: Path, text: str) -> None:
    env = environment(tmp_path)
    env.ensure(with_tests=False)
    env.stamp("run").write_text(text)
    assert not env.is_ready("run")
    env.ensure(with_tests=False)
    assert env.is_ready("run")


def test_changed_lock_of_the_tests_updates_that_layer_only(tmp_path: Path) -> None:
    env = environment(tmp_path)
    env.ensure(with_tests=True)
    pip = FakePip()
    changed = environment(tmp_path, pip)
    changed.test.path.write_text("wheelly==2.0 \\\n    --hash=sha256:01\n")
    assert changed.folder == env.folder
    changed.ensure(with_tests=True)
    assert pip.runs == ["test.txt"]


@pytest.mark.parametrize("lock", ["build", "run"])
def test_changed_lock_of_the_packages_gets_another_folder(tmp_path: Path, lock: str) -> None:
    before = environment(tmp_path).folder
    env = environment(tmp_path)
    getattr(env, lock).path.write_text("wheelly==2.0 \\\n    --hash=sha256:01\n")
    assert env.folder != before


def test_failing_pip_leaves_no_stamp_and_passes_its_sentence_on(tmp_path: Path) -> None:
    env = environment(tmp_path, FakePip("run.txt", StartProblem("The index can't be reached.", "wait", 11)))
    with pytest.raises(StartProblem, match="can't be reached"):
        env.ensure(with_tests=False)
    assert not env.is_ready("run")


def test_failing_ensurepip_is_a_sentence(tmp_path: Path) -> None:
    def broken(folder: Path) -> None:
        raise subprocess.CalledProcessError(1, ["ensurepip"])

    env = environment(tmp_path)
    env.make_venv = broken
    with pytest.raises(StartProblem) as caught:
        env.ensure(with_tests=False)
    assert caught.value.exit_code == 2 and "ensurepip" in caught.value.what


@pytest.mark.parametrize(("number", "words"), [(errno.ENOSPC, "disk is full"), (errno.EACCES, "can't be written"),
                                               (errno.ENOLCK, "can't lock")])
def test_trouble_with_the_disk_is_a_sentence_and_code_6(tmp_path: Path, number: int, words: str) -> None:
    def broken(folder: Path) -> None:
        raise OSError(number, os.strerror(number))

    env = environment(tmp_path)
    env.make_venv = broken
    with pytest.raises(StartProblem) as caught:
        env.ensure(with_tests=False)
    assert caught.value.exit_code == 6 and words in caught.value.what


def test_too_little_space_is_said_before_anything_is_fetched(tmp_path: Path,
                                                            monkeypatch: pytest.MonkeyPatch) -> None:
    usage = shutil.disk_usage(tmp_path)._replace(free=12_000_000)
    monkeypatch.setattr("shutil.disk_usage", lambda place: usage)
    pip = FakePip()
    with pytest.raises(StartProblem, match="Only 12 MB are free") as caught:
        environment(tmp_path, pip).ensure(with_tests=False)
    assert pip.runs == [] and caught.value.exit_code == 6


def test_a_start_that_waited_finds_the_work_done(tmp_path: Path) -> None:
    pip = FakePip()
    late = environment(tmp_path, pip)

    # The other start ends between this one's first look and its getting the lock.
    looks = []
    really_ready = type(late).is_ready

    class Late(type(late)):
        def is_ready(self, layer: str) -> bool:
            looks.append(layer)
            answer = really_ready(self, layer)
            if len(looks) == 1:
                environment(tmp_path).ensure(with_tests=False)
            return answer

    late.__class__ = Late
    late.ensure(with_tests=False)
    assert pip.runs == []
    assert late.is_ready("run")


TWO_STARTERS = """
import sys
from pathlib import Path
sys.path[:0] = [{root!r}]
from tests.bootstrap.fakes import FakePip, environment
class Pip(FakePip):
    def __call__(self, argv, **options):
        with open({journal!r}, "a") as file:
            file.write(Path(argv[-1]).name + "\\n")
        if Path(argv[-1]).name == "run.txt" and len(sys.argv) > 1:
            print("installing", flush=True)
            sys.stdin.readline()
        super().__call__(argv, **options)
said = []
env = environment(Path({tmp!r}), Pip(), said)
env.say = lambda line: print(line, flush=True)
env.ensure(with_tests=False)
print("done", flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="the fake environment has the layout of POSIX")
def test_of_two_starts_at_once_one_installs_and_the_other_waits_and_says_so(tmp_path: Path) -> None:
    journal = tmp_path / "journal"
    environment(tmp_path)  # writes the locks
    program = TWO_STARTERS.format(root=str(ROOT), journal=str(journal), tmp=str(tmp_path))
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    first = subprocess.Popen([sys.executable, "-c", program, "wait"], **pipes)
    assert any(line.startswith("installing") for line in iter(first.stdout.readline, ""))
    second = subprocess.Popen([sys.executable, "-c", program], **pipes)
    assert "Another start is getting the packages" in second.stdout.readline()
    first.communicate("go on\n", timeout=60)
    rest, _ = second.communicate(timeout=60)
    assert (first.returncode, second.returncode) == (0, 0)
    assert rest.strip() == "done"
    assert journal.read_text().split() == ["build.txt", "run.txt", "reading.txt"], "installed twice"


@pytest.mark.skipif(sys.platform == "win32", reason="the fake environment has the layout of POSIX")
def test_a_killed_start_blocks_nobody(tmp_path: Path) -> None:
    environment(tmp_path)
    program = TWO_STARTERS.format(root=str(ROOT), journal=str(tmp_path / "journal"), tmp=str(tmp_path))
    first = subprocess.Popen([sys.executable, "-c", program, "wait"], stdin=subprocess.PIPE,
                             stdout=subprocess.PIPE, text=True)
    assert any(line.startswith("installing") for line in iter(first.stdout.readline, ""))
    first.kill()
    first.communicate()
    pip = FakePip()
    env = environment(tmp_path, pip)
    env.ensure(with_tests=False)
    assert env.is_ready("run") and pip.runs == ["build.txt", "run.txt", "reading.txt"]


def test_fake_venv_has_the_python_where_the_launcher_looks(tmp_path: Path) -> None:
    env = environment(tmp_path)
    fake_venv(env.folder)
    assert env.python.exists()

"""pip's command, its output cut short, and its failures as sentences."""

from __future__ import annotations

import os
import socket
import sys
import zipfile
from pathlib import Path

import pytest

from assistant.bootstrap import pip_run
from assistant.bootstrap.problem import NoneFits, StartProblem

# Lines as pip 23 to 25 writes them, with made-up names and addresses.
UNREACHABLE = """\
Looking in indexes: https://index.example/simple
WARNING: Retrying (Retry(total=4, connect=None, read=None, redirect=None, status=None)) after connection broken \
by 'NewConnectionError('<pip._vendor.urllib3.connection.HTTPSConnection object>: Failed to establish a new \
connection: [Errno 111] Connection refused')': /simple/wheelly/
WARNING: Retrying (Retry(total=3, connect=None, read=None, redirect=None, status=None)) after connection broken
ERROR: Could not find a version that satisfies the requirement wheelly==1.0 (from versions: none)
ERROR: No matching distribution found for wheelly==1.0
"""
NO_WHEEL = """\
ERROR: Could not find a version that satisfies the requirement wheelly==1.0 (from versions: none)
ERROR: No matching distribution found for wheelly==1.0
"""
WRONG_HASH = """\
ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE. If you have updated the package versions
    wheelly==1.0 from https://index.example/wheelly.whl:
"""
INSECURE = """\
WARNING: The repository located at index.example is not a trusted or secure host and is being ignored. If this
""" + NO_WHEEL
FULL = "ERROR: Could not install packages due to an OSError: [Errno 28] No space left on device\n"
OTHER = "ERROR: Something nobody has seen before\n"


@pytest.mark.parametrize(("output", "words", "code"), [
    (UNREACHABLE, "index can't be reached", 11),
    (INSECURE, "isn't encrypted", 11),
    (NO_WHEEL, "no ready-made wheelly==1.0", 11),
    (WRONG_HASH, "hash differs", 11),
    (FULL, "disk is full", 6),
    (OTHER, "Something nobody has seen before", 11),
    ("", "pip couldn't install the packages.", 11),
])
def test_failures_are_told_apart(output: str, words: str, code: int) -> None:
    problem = pip_run.failure(output, Path("pip.log"))
    assert words in problem.what and problem.exit_code == code
    assert "pip.log" in problem.try_next


def test_one_line_for_each_package_from_index_or_folder() -> None:
    said: list[str] = []
    output = ["Looking in indexes: https://index.example/simple\n",
              "Collecting wheelly==1.0 (from -r run.txt (line 1))\n",
              "  Downloading wheelly-1.0-py3-none-any.whl (3.2 MB)\n",
              "Processing ./wheels/axle_pin-2.1-cp311-cp311-manylinux_2_28_x86_64.whl (from -r run.txt (line 3))\n",
              "Installing collected packages: wheelly, axle-pin\n"]
    assert pip_run.show(output, 2, said.append) == "".join(output)
    assert said == ["    1 of about 2  wheelly 1.0", "    2 of about 2  axle-pin 2.1",
                    "  All packages are here. Putting them in place."]


def test_a_silent_index_is_said_once_while_pip_tries_again() -> None:
    said: list[str] = []
    pip_run.show(UNREACHABLE.splitlines(keepends=True), 1, said.append)
    assert said == ["  The package index doesn't answer. Trying again for a while."]


def test_the_command_takes_only_locked_wheels_and_leaves_the_index_to_the_user() -> None:
    command = pip_run.command(Path("env/python"), [Path("run.txt")], from_source=["srt"], own_build_tools=True)
    assert "--require-hashes" in command and "--no-deps" in command and "-I" in command
    assert command[command.index("--only-binary") + 1] == ":all:"
    assert command[command.index("--no-binary") + 1] == "srt" and "--no-build-isolation" in command
    assert not [part for part in command if "index" in part or "://" in part or "find-links" in part]


def run_fake(tmp_path: Path, program: str) -> list[str]:
    said: list[str] = []
    pip_run.run([sys.executable, "-c", program], expected=1, log=tmp_path / "pip.log", say=said.append)
    return said


def test_a_real_process_is_shown_and_logged(tmp_path: Path) -> None:
    said = run_fake(tmp_path, "print('Collecting wheelly==1.0 (from x)')")
    assert said == ["    1 of about 1  wheelly 1.0"]
    assert "Collecting wheelly" in (tmp_path / "pip.log").read_text()


def test_a_real_failing_process_is_a_sentence(tmp_path: Path) -> None:
    program = f"import sys; sys.stderr.write({UNREACHABLE!r}); sys.exit(1)"
    with pytest.raises(StartProblem, match="index can't be reached"):
        run_fake(tmp_path, program)


def test_settings_that_would_misplace_the_packages_dont_reach_pip(tmp_path: Path,
                                                                  monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PIP_TARGET", "elsewhere")
    monkeypatch.setenv("PIP_USER", "1")
    monkeypatch.setenv("PIP_INDEX_URL", "https://index.example/simple")
    run_fake(tmp_path, "import os; print([os.environ.get(n) for n in ('PIP_TARGET','PIP_USER','PIP_INDEX_URL')])")
    assert "[None, '0', 'https://index.example/simple']" in (tmp_path / "pip.log").read_text()


def test_ctrl_c_leaves_no_pip_behind(tmp_path: Path) -> None:
    children = []
    real = pip_run.subprocess.Popen

    def interrupt(line: str) -> None:
        raise KeyboardInterrupt

    def remember(*args, **options):
        children.append(real(*args, **options))
        return children[-1]

    pip_run.subprocess.Popen = remember
    try:
        with pytest.raises(KeyboardInterrupt):
            pip_run.run([sys.executable, "-c", "print('Collecting a==1 ', flush=True); input(); import time;"
                         "time.sleep(600)"], expected=1, log=tmp_path / "pip.log", say=interrupt)
    finally:
        pip_run.subprocess.Popen = real
    assert children[0].poll() is not None


def test_a_failure_says_whether_anything_was_installed_before_it(tmp_path: Path) -> None:
    for output, untouched in (("Collecting a==1 ", True), ("Installing collected packages: a", False)):
        with pytest.raises(StartProblem) as caught:
            run_fake(tmp_path, f"import sys; print({output!r}); sys.exit(1)")
        assert caught.value.nothing_installed is untouched


def real_pip(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, **settings: str) -> tuple[StartProblem, str]:
    """How the pip of this Python fails to get wheelly 1.0 with these settings, and what it wrote to its details."""
    for name in [name for name in os.environ if name.startswith("PIP_")]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("PIP_CONFIG_FILE", os.devnull)  # no settings of the machine
    for name, value in settings.items():
        monkeypatch.setenv(name, value)
    (tmp_path / "lock.txt").write_text(f"wheelly==1.0 --hash=sha256:{'0' * 64}\n")  # of nothing: can't be installed
    details = tmp_path / "details.log"
    argv = pip_run.command(Path(sys.executable), [tmp_path / "lock.txt"], details=details)
    with pytest.raises(StartProblem) as caught:
        pip_run.run(argv, expected=1, log=tmp_path / "pip.log", say=str)
    return caught.value, details.read_text(encoding="utf-8")


@pytest.mark.parametrize(("files", "for_others"), [
    (["wheelly-1.0-py3-none-manylinux_2_99_x86_64.whl"], True),
    (["wheelly-1.0-py3-none-manylinux_2_99_x86_64.whl", "wheelly-0.9-py3-none-any.whl"], True),
    (["wheelly-0.9-py3-none-manylinux_2_99_x86_64.whl"], False),
    (["wheelly-0.9-py3-none-any.whl", "wheelly_more-1.0-py3-none-manylinux_2_99_x86_64.whl"], False),
    ([], False),
])
def test_pip_itself_tells_a_package_for_other_systems_from_none_at_all(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch, files: list[str], for_others: bool) -> None:
    wheels = tmp_path / "wheels"
    wheels.mkdir()
    for name in files:
        zipfile.ZipFile(wheels / name, "w").close()
    problem, details = real_pip(tmp_path, monkeypatch, PIP_NO_INDEX="1", PIP_FIND_LINKS=str(wheels))
    assert isinstance(problem, NoneFits) and problem.pin == "wheelly==1.0" and problem.nothing_installed
    assert pip_run.made_for_others(details, problem.pin) is for_others
    assert not pip_run.index_failed(details)


@pytest.mark.parametrize("retries", ["0", "1"])
def test_an_index_that_doesnt_answer_is_never_taken_for_one_without_the_package(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch, retries: str) -> None:
    with socket.socket() as taken:  # bound and not listening: a port that refuses
        taken.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{taken.getsockname()[1]}/simple"
        problem, details = real_pip(tmp_path, monkeypatch, PIP_INDEX_URL=address, PIP_RETRIES=retries)
    assert pip_run.index_failed(details) if isinstance(problem, NoneFits) else "can't be reached" in problem.what


def test_a_package_is_found_in_pips_details_however_its_name_is_spelt() -> None:
    line = "Skipping link: none of the wheel's tags (a) are compatible: https://index.example/{}-1.0-py3-none-a.whl"
    for name in ("axle_pin", "axle-pin", "Axle.Pin"):
        assert pip_run.made_for_others(line.format(name), "axle-pin==1.0")
    assert not pip_run.made_for_others(line.format("big_axle_pin"), "axle-pin==1.0")
    assert not pip_run.made_for_others(line.format("axle_pin"), "axle-pin==1.0.1")

"""Every outcome of a command is an exit code and, where it failed, a plain message without a traceback."""

from __future__ import annotations

import errno
import io
import os
import sys
from pathlib import Path

import click
import pytest

from assistant import errors, run_command


def group_that(raises: BaseException | None = None, returns: object = None) -> click.Group:
    group = click.Group("assistant")

    @group.command("act")
    @click.option("--count", type=int)
    def act(count: int | None) -> object:
        if raises is not None:
            raise raises
        return returns

    return group


def run(group: click.Group, *argv: str) -> int:
    return run_command.run(group, argv or ("act",))


@pytest.fixture(autouse=True)
def logs_go_elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr("platformdirs.user_log_path", lambda *args, **options: tmp_path / "logs")
    return tmp_path / "logs"


@pytest.mark.parametrize(("returned", "code"), [(None, 0), (0, 0), (3, 3), (True, 0), ("text", 0)])
def test_an_int_that_a_command_returns_is_the_exit_code(returned: object, code: int) -> None:
    assert run(group_that(returns=returned)) == code


def every_error() -> list[type[errors.GauntletError]]:
    found, waiting = [], [errors.GauntletError]
    while waiting:
        kind = waiting.pop()
        found.append(kind)
        waiting += kind.__subclasses__()
    return sorted((kind for kind in found if kind.__module__ == "assistant.errors"), key=lambda k: k.__name__)


@pytest.mark.parametrize("kind", every_error(), ids=lambda kind: kind.__name__)
def test_an_expected_failure_shows_its_message_and_gives_its_code(kind: type[errors.GauntletError],
                                                                  capsys: pytest.CaptureFixture) -> None:
    error = kind("The door is open.", where="site.yaml:4", expected="a closed door", try_next="close it")
    assert run(group_that(error)) == kind.exit_code
    out, err = capsys.readouterr()
    assert out == ""
    assert err == "site.yaml:4: The door is open.\n  Expected: a closed door\n  Try: close it\n"


@pytest.mark.parametrize(("argv", "words"), [
    (("act", "--cuont", "1"), "Did you mean '--count'?"),
    (("act", "--count", "many"), "'many' is not a valid integer"),
    (("acr",), "No such command 'acr'"),
])
def test_words_that_cant_be_used_give_2(argv: tuple[str, ...], words: str, capsys: pytest.CaptureFixture) -> None:
    assert run(group_that(), *argv) == 2
    out, err = capsys.readouterr()
    assert words in err and out == ""


def test_ctrl_c_gives_130_and_a_plain_line(capsys: pytest.CaptureFixture) -> None:
    assert run(group_that(KeyboardInterrupt())) == 130
    assert "Stopped by Ctrl-C." in capsys.readouterr().err


def test_whoever_ends_by_typing_so_is_told_that_and_not_of_ctrl_c(capsys: pytest.CaptureFixture) -> None:
    assert run(group_that(KeyboardInterrupt("You ended it."))) == 130
    err = capsys.readouterr().err
    assert "You ended it." in err and "Ctrl-C" not in err


def test_the_end_of_input_is_not_taken_for_ctrl_c(capsys: pytest.CaptureFixture) -> None:
    assert run(group_that(EOFError())) == 1
    assert "input ended" in capsys.readouterr().err


def test_a_bug_gives_70_and_its_traceback_goes_to_a_file_that_is_named(logs_go_elsewhere: Path,
                                                                       capsys: pytest.CaptureFixture) -> None:
    assert run(group_that(KeyError("nobody foresaw this"))) == 70
    out, err = capsys.readouterr()
    report, = logs_go_elsewhere.iterdir()
    assert out == "" and "Traceback" not in err and str(report) in err
    text = report.read_text(encoding="utf-8")
    assert "Traceback" in text and "nobody foresaw this" in text and "['act']" in text


def test_a_bug_is_still_70_where_no_log_can_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                       capsys: pytest.CaptureFixture) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setattr("platformdirs.user_log_path", lambda *args, **options: tmp_path / "file" / "logs")
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path / "file"))
    assert run(group_that(ZeroDivisionError())) == 70
    assert "could not be saved" in capsys.readouterr().err


@pytest.mark.parametrize(("number", "words"), [(errno.ENOSPC, "The disk is full: notes.jsonl"),
                                               (errno.EACCES, "can't be written or read: notes.jsonl"),
                                               (errno.EROFS, "can't be written or read: notes.jsonl")])
def test_a_full_or_read_only_disk_that_no_room_foresaw_gives_6(number: int, words: str,
                                                               capsys: pytest.CaptureFixture) -> None:
    assert run(group_that(OSError(number, os.strerror(number), "notes.jsonl"))) == 6
    assert words in capsys.readouterr().err


@pytest.mark.parametrize(("leaving", "code"), [(SystemExit(), 0), (SystemExit(4), 4), (SystemExit("no"), 1)])
def test_leaving_by_sys_exit_is_respected(leaving: SystemExit, code: int) -> None:
    assert run(group_that(leaving)) == code


def test_text_that_the_terminal_lacks_comes_out_as_a_question_mark(monkeypatch: pytest.MonkeyPatch) -> None:
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding="cp1252"))
    group = click.Group("assistant")
    group.command("act")(lambda: click.echo("20 °C 확인"))
    assert run(group) == 0
    sys.stdout.flush()
    assert raw.getvalue().replace(b"\r\n", b"\n") == "20 °C ??\n".encode("cp1252")

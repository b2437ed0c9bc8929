"""Runs the command group and turns every outcome into an exit code and, where it failed, a plain message.

No traceback reaches the screen: a bug's goes to a file in the user's log folder, whose path is shown.
"""

from __future__ import annotations

import contextlib
import datetime
import errno
import os
import platform
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path

import click

from assistant import __version__
from assistant.errors import EXIT_BUG, EXIT_INTERRUPTED, GauntletError, StorageError

_DISK_FULL = {errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)}
_NOT_WRITABLE = {errno.EACCES, errno.EPERM, errno.EROFS}


def run(group: click.Command, argv: Sequence[str], *, prog_name: str = "assistant") -> int:
    """Runs `group` with `argv` (without the program's name) and returns the exit code.

    A command's own return value counts as exit code when it is an int. GauntletError gives its own code,
    click's usage errors 2, Ctrl-C 130, a full or read-only disk that nobody foresaw 6, anything else 70.
    """
    forgive_odd_locales()
    try:
        result = group.main(args=list(argv), prog_name=prog_name, standalone_mode=False)
    except GauntletError as error:
        _say(error.format_message())
        return error.exit_code
    except click.ClickException as error:
        error.show(file=sys.stderr)
        return error.exit_code
    except (click.Abort, KeyboardInterrupt) as error:
        if isinstance(error.__cause__, EOFError):
            _say("Stopped: the input ended before an answer came.")
            return 1
        _say(str(error.__cause__ or error) or "Stopped by Ctrl-C.")      # click turns the one into the other
        return EXIT_INTERRUPTED
    except SystemExit as leaving:
        return _code_of(leaving)
    except Exception as error:  # the outermost frame: everything unforeseen ends here
        return _unforeseen(error, argv)
    return result if isinstance(result, int) and not isinstance(result, bool) else 0


def forgive_odd_locales() -> None:
    """Lets text that the terminal's encoding lacks come out as "?" in place of an error."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)  # absent on a test's replacement streams
        if reconfigure is not None:
            with contextlib.suppress(ValueError, OSError):
                reconfigure(errors="replace")


def _code_of(leaving: SystemExit) -> int:
    if leaving.code is None:
        return 0
    if isinstance(leaving.code, int):
        return leaving.code
    _say(str(leaving.code))
    return 1


def _unforeseen(error: Exception, argv: Sequence[str]) -> int:
    if isinstance(error, OSError) and error.errno in _DISK_FULL | _NOT_WRITABLE:
        reason = "The disk is full" if error.errno in _DISK_FULL else "This can't be written or read"
        storage = StorageError(f"{reason}: {error.filename or 'no file named'}.",
                               try_next="free some space, or name another folder")
        _say(storage.format_message())
        return storage.exit_code
    report = write_bug_report(error, argv)
    _say(f"Something went wrong inside the assistant ({type(error).__name__}). This is a bug, not your doing.")
    _say(f"  The details are in {report}" if report else "  The details could not be saved anywhere.")
    return EXIT_BUG


def write_bug_report(error: Exception, argv: Sequence[str], folder: Path | None = None) -> Path | None:
    """Writes version, system, command and traceback to a new file; None if no folder takes it.

    `folder`: where to write; the user's log folder, or the folder for temporary files, if None.
    """
    import tempfile

    from platformdirs import user_log_path

    now = datetime.datetime.now(datetime.UTC)
    lines = [f"Gauntlet {__version__}, Python {platform.python_version()}, {platform.platform()}",
             f"At {now.isoformat(timespec='seconds')}, with the arguments {list(argv)!r}", ""]
    text = "\n".join(lines) + "\n" + "".join(traceback.format_exception(error))
    name = f"bug-{now:%Y%m%dT%H%M%S%f}-{os.getpid()}.txt"
    places = [folder] if folder else [user_log_path("gauntlet", appauthor=False), Path(tempfile.gettempdir())]
    for place in places:
        try:
            place.mkdir(parents=True, exist_ok=True)
            (place / name).write_text(text, encoding="utf-8")
        except OSError:
            continue
        return place / name
    return None


def _say(line: str) -> None:
    with contextlib.suppress(OSError, ValueError):  # stderr may be closed; the exit code still tells
        click.echo(line, err=True)

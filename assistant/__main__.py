"""Starts the assistant: `python3 -m assistant COMMAND`, with nothing but a Python installed.

This file is written so that every Python from 2.7 on can read it: an unsuitable one gets a sentence, not a
syntax error. What comes after the version check may use the language of 3.11.
"""

import os
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:  # types stand in comments, which an old Python reads too
    from typing import Any, Optional  # noqa: F401 - named in those

OLDEST = (3, 11)
NEWEST = (3, 13)


def version_problem(version, which, system):
    # type: (Any, Any, str) -> Optional[str]
    """None if this version of Python will do, else a plain text: what is wrong and what to try.

    version: (major, minor, ...); which: finds a program on the PATH, as shutil.which; system: as sys.platform.
    """
    if OLDEST <= tuple(version[:2]) <= NEWEST:
        return None
    text = "This is Python %d.%d. The assistant needs Python %d.%d to %d.%d." % (
        version[0], version[1], OLDEST[0], OLDEST[1], NEWEST[0], NEWEST[1])
    for minor in range(NEWEST[1], OLDEST[1] - 1, -1):
        name = "python3.%d" % minor
        if which(name):
            return "%s\n  Try: %s is here; start with: %s -m assistant" % (text, name, name)
    if system == "win32" and which("py"):
        return "%s\n  Try: py -3.%d -m assistant (py --list shows what is installed)" % (text, NEWEST[1])
    return "%s\n  Try: install Python 3.%d, then start with: python3.%d -m assistant" % (
        text, NEWEST[1], NEWEST[1])


def _which(name):
    # type: (str) -> Optional[str]
    try:
        from shutil import which
    except ImportError:  # before Python 3.3
        return None
    return which(name)


def _one_thread_for_matrices():
    # type: () -> None
    """numpy's matrices here are small: shared out over threads, they wait for each other, a hundredfold on a busy machine.

    Must be said before numpy is first imported.
    """
    for name in ("OPENBLAS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
        os.environ.setdefault(name, "1")


def _require_version():
    # type: () -> None
    problem = version_problem(sys.version_info, _which, sys.platform)
    if problem:
        sys.stderr.write(problem + "\n")
        sys.exit(2)


def main():
    # type: () -> None
    """The console script `assistant`, as installed by pip."""
    _require_version()
    _one_thread_for_matrices()
    from assistant.bootstrap.launch import start_installed

    sys.exit(start_installed(sys.argv[1:]))


def _from_checkout():
    # type: () -> None
    _require_version()
    _one_thread_for_matrices()
    # Started by path, Python puts this folder first: its rooms must not be taken for top-level modules.
    here = os.path.dirname(os.path.abspath(__file__))
    sys.path[:] = [place for place in sys.path if os.path.abspath(place or os.curdir) != here]
    root = os.path.dirname(here)
    if root not in sys.path:
        sys.path.insert(0, root)
    from assistant.bootstrap.launch import start

    sys.exit(start(sys.argv[1:]))


if __name__ == "__main__":
    _from_checkout()

"""What happens between `python3 -m assistant ...` and the command: check, make the environment, go inside."""

from __future__ import annotations

import importlib.util
import os
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from assistant.bootstrap import places, python_check
from assistant.bootstrap.environment import Environment
from assistant.bootstrap.problem import EXIT_PACKAGES, StartProblem

CHECKOUT = Path(__file__).resolve().parent.parent.parent
USE_THIS_PYTHON = "GAUNTLET_USE_THIS_PYTHON"  # for developers whose own environment has the packages
_NEEDED_TO_SPEAK_AT_ALL = ("click", "platformdirs", "transitions", "pydantic", "vosk", "pyttsx3")
_STATUS_CONTROL_C_EXIT = 0xC000013A  # Windows: what a process killed by Ctrl-C returns
_INTERRUPTED = 130


def start(argv: Sequence[str]) -> int:
    """Runs the command `argv` in the right environment; returns its exit code where the system can't replace
    this process by the one inside. Never raises for what a person can put right: says it and returns a code."""
    try:
        if not is_checkout(CHECKOUT) or os.environ.get(USE_THIS_PYTHON):
            require_packages()
            return run_here(argv)
        python_check.require_suitable(python_check.gather())
        cache = Path(places.user_cache_folder(sys.platform, os.environ, Path.home()))
        environment = choose_environment(CHECKOUT, cache, with_tests=wants_tests(argv))
        environment.ensure(with_tests=wants_tests(argv))
        if Path(sys.prefix).resolve() == environment.folder.resolve():
            return run_here(argv)
        return go_inside(environment.python, argv)
    except StartProblem as problem:
        print(problem.message(), file=sys.stderr)
        return problem.exit_code
    except KeyboardInterrupt:
        print("Stopped by Ctrl-C.", file=sys.stderr)
        return _INTERRUPTED


def choose_environment(checkout: Path, cache: Path, *, with_tests: bool) -> Environment:
    """The environment that is ready, in the clone or the cache; else one where it can be made.

    Ready comes first: a start needs no writing then, and works on a full disk or in another user's clone.
    """
    for place in (checkout / places.FOLDER, cache):
        environment = Environment(place)
        if environment.has(with_tests=with_tests):
            return environment
    return Environment(places.writable_folder(checkout, cache))


def start_installed(argv: Sequence[str]) -> int:
    """The console script: the packages were installed with the project, so no environment is made."""
    try:
        require_packages()
    except StartProblem as problem:
        print(problem.message(), file=sys.stderr)
        return problem.exit_code
    return run_here(argv)


def is_checkout(root: Path) -> bool:
    """True for a clone of the project; False where the package was installed by pip."""
    try:
        return 'name = "gauntlet-assistant"' in (root / "pyproject.toml").read_text(encoding="utf-8")
    except OSError:
        return False


def wants_tests(argv: Sequence[str]) -> bool:
    """True if the command is the self-test, which needs its packages too."""
    words = [word for word in argv if not word.startswith("-")]
    return words[:1] == ["selftest"] and "--help" not in argv and "-h" not in argv


def require_packages() -> None:
    """Raises StartProblem (exit code 11) if this Python lacks packages that every command needs."""
    missing = [name for name in _NEEDED_TO_SPEAK_AT_ALL if importlib.util.find_spec(name) is None]
    if missing:
        raise StartProblem(f"This Python ({sys.executable}) lacks the package {missing[0]}.",
                           "install the project with its packages (pip install .), or run "
                           "`python3 -m assistant` in a clone of the project", EXIT_PACKAGES)


def run_here(argv: Sequence[str]) -> int:
    """Hands over to the commands, in this process."""
    from assistant.cli import main

    return main(list(argv))


def go_inside(python: Path, argv: Sequence[str]) -> int:
    """Starts the same command with the environment's Python: in place of this process where the system can."""
    # By path, not by -m: it works from any folder.
    command = [str(python), str(CHECKOUT / "assistant" / "__main__.py"), *argv]
    os.environ.pop("__PYVENV_LAUNCHER__", None)  # macOS: it would lead the environment's Python astray
    os.environ.pop("PYTHONHOME", None)
    if sys.platform == "win32":
        return run_as_child(command)
    sys.stdout.flush()
    sys.stderr.flush()
    os.execv(command[0], command)
    raise AssertionError("execv returned")


def run_as_child(command: Sequence[str]) -> int:
    """Runs `command` and returns its exit code. Ctrl-C reaches the child from the console by itself; this
    process only waits for the child to end in its own way."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN if sys.platform != "win32" else _wait_on)
    try:
        code = subprocess.Popen(command, preexec_fn=_take_interrupts if sys.platform != "win32" else None).wait()
    finally:
        signal.signal(signal.SIGINT, before)
    return exit_code_of_child(code)


def exit_code_of_child(code: int) -> int:
    """A child's code as this process should give it: 130 for one that Ctrl-C ended."""
    if code & 0xFFFFFFFF == _STATUS_CONTROL_C_EXIT or code == -signal.SIGINT:
        return _INTERRUPTED
    return code if code >= 0 else 128 - code


def _wait_on(number: int, frame: object) -> None:
    """Ctrl-C while waiting: the child got it too, and decides."""


def _take_interrupts() -> None:
    signal.signal(signal.SIGINT, signal.default_int_handler)

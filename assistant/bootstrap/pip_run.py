"""One run of pip: its long output becomes short lines, its failures plain sentences.

pip's own settings (package index, proxy, certificates) stay the user's: nothing here overrides them.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TextIO

from assistant.bootstrap.problem import EXIT_PACKAGES, EXIT_STORAGE, NoneFits, StartProblem

# Settings that would put the packages somewhere other than into the environment.
_MISPLACING = ("PIP_TARGET", "PIP_PREFIX", "PIP_ROOT", "PIP_USER", "PIP_REQUIRE_VIRTUALENV", "PIP_DRY_RUN")

# One line a package: from the index, or from a folder of wheels that the user's pip is set up for.
_COLLECTING = re.compile(r"^(?:Collecting (?P<name>[A-Za-z0-9._-]+)==(?P<version>\S+)"
                         r"|Processing \S*?(?P<file>[A-Za-z0-9._]+)-(?P<file_version>[^-\s/\\]+)-\S+\.whl)")
_UNREACHABLE = re.compile(
    r"connection broken by|NewConnectionError|ConnectTimeout|ReadTimeout|Max retries exceeded|"
    r"Name or service not known|name resolution|getaddrinfo failed|SSLError|CERTIFICATE_VERIFY_FAILED|"
    r"ProxyError|Connection refused|Network is unreachable|Could not fetch URL", re.IGNORECASE)
_INSECURE = re.compile(r"not a trusted or secure host", re.IGNORECASE)
_RETRYING = re.compile(r"Retrying \(|connection broken by", re.IGNORECASE)
_DISK_FULL = re.compile(r"No space left on device|Errno 28\b|Errno 122\b|WinError 112\b")
_WRONG_HASH = re.compile(r"DO NOT MATCH THE HASHES", re.IGNORECASE)
_INSTALLING = "Installing collected packages"  # pip fetches all first; up to this line nothing has changed
_NOT_FETCHED = re.compile(r"Could not fetch URL (?!.*\b404 Client Error\b)")
_NONE_FITS = re.compile(r"No matching distribution found for (\S+)")


def command(python: Path, requirements: Sequence[Path], *, from_source: Sequence[str] = (),
            own_build_tools: bool = False, details: Path | None = None) -> list[str]:
    """The pip command: only what the lock file names, with matching hashes, as ready-made wheels.

    `from_source`: packages that are published without a wheel (pure Python; no compiler is needed).
    `own_build_tools`: build those with the locked tools already in the environment, fetching none.
    `details`: a file to which pip adds all it does; see `made_for_others`.
    """
    # -I: neither PYTHONPATH nor the user's own packages can make pip think that something is there already.
    built = [part for name in from_source for part in ("--no-binary", name)]
    tools = ["--no-build-isolation", "--use-pep517"] if own_build_tools else []
    told = ["--log", str(details)] if details else []
    return [str(python), "-I", "-m", "pip", "install", "--require-hashes", "--no-deps",
            "--only-binary", ":all:", *built, *tools, *told, "--no-input", "--progress-bar", "off",
            "--disable-pip-version-check", *(part for file in requirements for part in ("--requirement", str(file)))]


def run(argv: Sequence[str], *, expected: int, log: Path, say: Callable[[str], None] | None = None) -> None:
    """Runs pip, showing one line a package; its whole output goes to `log`.

    `expected`: about how many packages come, for the count shown. Raises StartProblem with exit code 11
    (packages didn't come) or 6 (disk full).
    """
    say = say or to_stderr
    environment = {name: value for name, value in os.environ.items() if name not in _MISPLACING}
    # A user's configuration file could set these too; the environment goes before it.
    environment.update(PIP_USER="0", PYTHONUTF8="1")
    process = subprocess.Popen(argv, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL,
                               env=environment, encoding="utf-8", errors="replace")
    assert process.stdout is not None  # it is a pipe
    try:
        with open(log, "a", encoding="utf-8") as log_file:
            output = show(_copied(process.stdout, log_file), expected, say)
        code = process.wait()
    finally:
        if process.poll() is None:  # Ctrl-C or a full disk in the middle: leave no pip behind
            process.terminate()
            process.wait()
    if code != 0:
        problem = failure(output, log)
        problem.nothing_installed = _INSTALLING not in output
        raise problem


def _copied(lines: Iterable[str], log_file: TextIO) -> Iterable[str]:
    for line in lines:
        log_file.write(line)
        yield line


def show(lines: Iterable[str], expected: int, say: Callable[[str], None]) -> str:
    """Says one short line for each package and each trouble in pip's output; returns all of the output."""
    kept, count, retries = [], 0, 0
    for line in lines:
        kept.append(line)
        collecting = _COLLECTING.match(line)
        if collecting:
            count += 1
            name = collecting["name"] or collecting["file"].replace("_", "-")
            version = collecting["version"] or collecting["file_version"]
            say(f"  {count:3} of about {max(expected, count)}  {name} {version}")
        elif _RETRYING.search(line):
            retries += 1
            if retries == 1:
                say("  The package index doesn't answer. Trying again for a while.")
        elif line.startswith(_INSTALLING):
            say("  All packages are here. Putting them in place.")
    return "".join(kept)


def failure(output: str, log: Path) -> StartProblem:
    """The plain sentence for a failed run of pip, judged by its output."""
    if _DISK_FULL.search(output):
        return StartProblem("The disk is full: the packages didn't fit.",
                            f"free some space and start again (details: {log})", EXIT_STORAGE)
    if _WRONG_HASH.search(output):
        return StartProblem("A package isn't the one that was pinned: its hash differs. Nothing of it was used.",
                            f"find out who serves your package index; don't go on with it (details: {log})",
                            EXIT_PACKAGES)
    if _UNREACHABLE.search(output):
        return unreachable(log)
    if _INSECURE.search(output):
        return StartProblem("pip doesn't trust the package index that it is set up for, as it isn't encrypted.",
                            f"set pip up for an index with https (`pip config list` shows it; details: {log})",
                            EXIT_PACKAGES)
    none_fits = _NONE_FITS.search(output)
    if none_fits:
        return NoneFits(none_fits[1], log)
    last = next((line.strip() for line in reversed(output.splitlines())
                 if line.startswith("ERROR") and line.strip() != "ERROR: Exception:"), "")
    return StartProblem(f"pip couldn't install the packages. {last}".rstrip(),
                        f"read its output in {log}, then start again", EXIT_PACKAGES)


def unreachable(log: Path) -> StartProblem:
    """The network, a proxy or the index itself is down."""
    return StartProblem("The package index can't be reached, so the packages couldn't be fetched.",
                        f"check the network, or pip's settings for a proxy or index (`pip config list`), "
                        f"and start again (details: {log})", EXIT_PACKAGES)


def index_failed(details: str) -> bool:
    """True if an index gave no answer, or another one than a list of packages or "not found"; pip says so in its file
    of details alone where its settings allow no second try, and then calls the package missing."""
    return _NOT_FETCHED.search(details) is not None


def made_for_others(details: str, pin: str) -> bool:
    """True if pip passed over a package of `pin` that is made for other systems; False if it found none at all.

    `details`: what pip wrote to its file of details. Its message to the screen is the same in both cases.
    """
    name, _, version = pin.partition("==")
    spelt = "[-_.]+".join(map(re.escape, re.split("[-_.]+", name)))
    passed_over = rf"none of the wheel's tags .*[/\\]{spelt}-{re.escape(version)}-"
    return re.search(passed_over, details, re.IGNORECASE) is not None


def to_stderr(line: str) -> None:
    """One line for the person who waits."""
    print(line, file=sys.stderr, flush=True)

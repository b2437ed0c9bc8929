"""Can this Python, on this machine, run the assistant? The rules, as data, over facts passed in."""

from __future__ import annotations

import importlib.util
import platform
import sys
import sysconfig
from dataclasses import dataclass, field

from assistant.bootstrap.problem import EXIT_UNSUITABLE, StartProblem

# Systems and processors for which every pinned package has a wheel (looked up when the lock was made).
WITH_WHEELS = {
    "linux": {"x86_64", "aarch64"},
    "darwin": {"arm64"},  # cryptography no longer comes for Intel
    "win32": {"amd64"},
}
# (system, processor, Python) among those for which one package has none, with the package's name.
GAPS = {
    ("linux", "aarch64", (3, 12)): "pocketsphinx",
}
OLDEST_GLIBC = (2, 28)


@dataclass(frozen=True)
class Facts:
    """What the rules look at. `system`: as sys.platform; `machine`: as platform.machine(), lower case;
    `glibc`: version or None where there is none; `modules`: which of venv, ensurepip are there."""

    version: tuple[int, int, int]
    implementation: str
    system: str
    machine: str
    bits: int
    glibc: tuple[int, int] | None
    musl: bool
    free_threaded: bool
    modules: frozenset[str] = field(default_factory=lambda: frozenset({"venv", "ensurepip"}))


def gather() -> Facts:
    """The facts of the running Python."""
    build = " ".join(str(sysconfig.get_config_var(name)) for name in ("SOABI", "MULTIARCH", "HOST_GNU_TYPE"))
    return Facts(
        version=sys.version_info[:3],
        implementation=sys.implementation.name,
        system=sys.platform,
        machine=platform.machine().lower(),
        bits=64 if sys.maxsize > 2**32 else 32,
        glibc=_glibc(),
        musl="musl" in build,
        free_threaded=bool(sysconfig.get_config_var("Py_GIL_DISABLED")),
        modules=frozenset(name for name in ("venv", "ensurepip") if importlib.util.find_spec(name)),
    )


def _glibc() -> tuple[int, int] | None:
    name, version = platform.libc_ver()
    if name != "glibc":
        return None
    major, _, minor = version.partition(".")
    return int(major), int(minor.split(".")[0] or 0)


def require_suitable(facts: Facts) -> None:
    """Raises StartProblem (exit code 2) if the assistant can't run here; versions are checked before this."""
    for check in (_interpreter, _platform, _modules):
        problem = check(facts)
        if problem:
            raise StartProblem(*problem, EXIT_UNSUITABLE)


def _interpreter(facts: Facts) -> tuple[str, str] | None:
    if facts.implementation != "cpython":
        return (f"This Python is {facts.implementation}. The speech packages come only for the standard one.",
                "install the standard Python (CPython) 3.11, 3.12 or 3.13 and start with that")
    if facts.free_threaded:
        return ("This is a free-threaded Python. The speech packages don't come for it.",
                "start with the ordinary build of the same version")
    if facts.bits != 64:
        return ("This is a 32-bit Python. The speech packages come only for 64-bit ones.",
                "install a 64-bit Python 3.11, 3.12 or 3.13, on a 64-bit system")
    return None


def _platform(facts: Facts) -> tuple[str, str] | None:
    machines = WITH_WHEELS.get(facts.system)
    if machines is None:
        return (f"The packages don't come ready-made for this system ({facts.system}).",
                "use Linux, macOS or Windows")
    if facts.system == "linux" and facts.musl:
        return ("This Linux uses musl as its C library. The speech packages come only for glibc.",
                "use a system with glibc, such as Debian, or a container of one")
    if facts.system == "linux" and facts.glibc is not None and facts.glibc < OLDEST_GLIBC:
        return (f"This Linux has glibc {facts.glibc[0]}.{facts.glibc[1]}. "
                f"The packages need {OLDEST_GLIBC[0]}.{OLDEST_GLIBC[1]} or newer.",
                "use a system from 2019 or later")
    if facts.machine not in machines:
        hint = f"use a machine with {' or '.join(sorted(machines))}"
        if facts.system == "win32":
            hint = "install the 64-bit Intel build of Python; Windows runs it on ARM too"
        return (f"The packages don't come ready-made for this processor ({facts.machine}).", hint)
    package = GAPS.get((facts.system, facts.machine, facts.version[:2]))
    if package:
        return (f"The package {package} doesn't come ready-made for Python "
                f"{facts.version[0]}.{facts.version[1]} on {facts.system} {facts.machine}.",
                "start with Python 3.11 or 3.13, for example: python3.13 -m assistant")
    return None


def _modules(facts: Facts) -> tuple[str, str] | None:
    missing = [name for name in ("venv", "ensurepip") if name not in facts.modules]
    if not missing:
        return None
    hint = f"on Debian and Ubuntu: sudo apt install python{facts.version[0]}.{facts.version[1]}-venv" \
        if facts.system == "linux" else "install Python anew, with its standard library complete"
    return (f"This Python lacks its module {missing[0]}, which makes environments.", hint)

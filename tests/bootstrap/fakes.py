"""Stand-ins for pip and venv, and the facts of a Python that suits: real enough to leave the files that count."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from assistant.bootstrap.environment import Environment
from assistant.bootstrap.locks import Lock
from assistant.bootstrap.python_check import Facts

SUITABLE = Facts(version=(3, 11, 7), implementation="cpython", system="linux", machine="x86_64", bits=64,
                 glibc=(2, 36), musl=False, free_threaded=False)

LAYERS = ("build", "run", "reading", "test")
PIN = "wheelly==1.0 \\\n    --hash=sha256:00\n"


def facts(**changes: object) -> Facts:
    return replace(SUITABLE, **changes)


class FakePip:
    """Counts its runs; `fail_on` (a lock's file name) raises `error` in the middle of that run.

    `details`: what it writes to its file of details, where it is asked for one."""

    def __init__(self, fail_on: str = "", error: BaseException | None = None, details: str = "") -> None:
        self.runs: list[str] = []
        self.fail_on = fail_on
        self.error = error
        self.details = details

    def __call__(self, argv: list[str], *, expected: int, log: Path, say: object) -> None:
        name = Path(argv[-1]).name
        self.runs.append(name)
        (log.parent / f"half-of-{name}").write_text("")
        if "--log" in argv:
            with open(argv[argv.index("--log") + 1], "a") as file:
                file.write(self.details)
        if name == self.fail_on and self.error is not None:
            raise self.error
        (log.parent / f"installed-{name}").write_text("")


def fake_venv(folder: Path) -> None:
    (folder / "bin").mkdir(parents=True)
    (folder / "bin" / "python").write_text("")


def locks_in(folder: Path) -> dict[str, Lock]:
    folder.mkdir(exist_ok=True)
    for name in LAYERS:
        (folder / f"{name}.txt").write_text(PIN)
    return {name: Lock(name, folder / f"{name}.txt") for name in LAYERS}


def environment(tmp_path: Path, pip: FakePip | None = None, said: list[str] | None = None) -> Environment:
    parent = tmp_path / "parent"
    parent.mkdir(exist_ok=True)
    lines = said if said is not None else []
    return Environment(parent, **locks_in(tmp_path / "locks"), version="cpython-3.11.7", platform="linux-x86_64",
                       system="linux", release="glibc 2.31", make_venv=fake_venv, run_pip=pip or FakePip(), say=lines.append)

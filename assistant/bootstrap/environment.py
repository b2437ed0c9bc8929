"""Makes the environment that the assistant runs in, once, and adds the tests' packages when they are asked for.

Each layer has a stamp, written last. An environment without its stamp is half-made and is built anew.
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

from assistant.bootstrap import locks, pip_run, places, start_lock
from assistant.bootstrap.problem import EXIT_STORAGE, EXIT_UNSUITABLE, StartProblem

NEEDED_MB = {"run": 500, "test": 600}  # free disk asked for before a layer is installed, with some room

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
    test: locks.Lock = locks.TEST
    version: str = field(default_factory=this_version)
    platform: str = field(default_factory=sysconfig.get_platform)
    system: str = sys.platform
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
        """The file that says that `layer` ("run" or "test") is complete."""
        return self.folder / f"gauntlet-{layer}.json"

    def _started(self, layer: str) -> Path:
        return self.folder / f"gauntlet-{layer}.started"

    def is_ready(self, layer: str) -> bool:
        """True if the layer was completed with the present lock and its Python is still there."""
        try:
            stamp = json.loads(self.stamp(layer).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return False
        lock = self.test if layer == "test" else self.run
        return isinstance(stamp, dict) and stamp.get("lock_sha256") == lock.sha256() and self.python.exists()

    def has(self, *, with_tests: bool) -> bool:
        """True if nothing needs to be made."""
        return self.is_ready("run") and (not with_tests or self.is_ready("test"))

    def ensure(self, *, with_tests: bool) -> None:
        """Makes what is missing, under the lock; does nothing, quickly, where all is there.

        Raises StartProblem: exit code 2 (no environment can be made), 6 (folder or disk), 11 (packages).
        """
        if self.has(with_tests=with_tests):
            return
        layers = ["run", "test"] if with_tests else ["run"]
        try:
            with start_lock.held(self.parent / f"{self.folder.name}.lock", self._say_waiting):
                for layer in layers:
                    if not self.is_ready(layer):  # another start may have made it while this one waited
                        self._add(layer)
        except OSError as error:
            raise self._storage_problem(error) from error

    def _say_waiting(self) -> None:
        self.say("Another start is getting the packages. Waiting until it has finished.")

    def _add(self, layer: str) -> None:
        half_made = self._started("run").exists() or self._started("test").exists()
        if layer == "run" or half_made:
            if self.folder.exists():
                self.say("An earlier start didn't finish. Starting over with the packages.")
                shutil.rmtree(self.folder)
            self._make_run_layer()
        if layer == "test":
            self._install_layer("test", "for the tests")

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
        self._install_layer("run", "", from_source=locks.FROM_SOURCE, own_build_tools=True)

    def _install_layer(self, layer: str, purpose: str, **options: object) -> None:
        lock = self.test if layer == "test" else self.run
        started_s = time.monotonic()
        if layer != "run":
            self._require_space(layer)
        self._started(layer).touch()
        self.say(" ".join(["Getting the packages", purpose]).rstrip() + ".")
        self._pip(lock, **options)
        self._write_stamp(layer, lock)
        self._started(layer).unlink()
        self.say(f"Ready after {time.monotonic() - started_s:.0f} s.")

    def _pip(self, lock: locks.Lock, **options: object) -> None:
        expected = locks.count_pins(lock.read().decode(), self.system)
        self.run_pip(pip_run.command(self.python, lock.files(self.system), **options), expected=expected,
                     log=self.folder / "pip.log", say=self._say_trouble if lock is self.build else self.say)

    def _say_trouble(self, line: str) -> None:
        # The one tool that comes before the packages would only make their count look wrong.
        if "index" in line:
            self.say(line)

    def _write_stamp(self, layer: str, lock: locks.Lock) -> None:
        draft = self.stamp(layer).with_suffix(".draft")
        with open(draft, "w", encoding="utf-8") as file:
            json.dump({"lock_sha256": lock.sha256(), "python": self.version, "platform": self.platform}, file)
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

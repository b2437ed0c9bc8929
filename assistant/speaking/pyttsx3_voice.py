"""The real voice: pyttsx3 with the packaged espeak-ng, in a process that can hang or die unharmed."""

from __future__ import annotations

import json
import os
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
import time
import weakref
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

import assistant
from assistant.errors import VoiceError
from assistant.speaking.espeak_library import package_version
from assistant.speaking.resample import to_rate, trim_silence
from assistant.speaking.synth import voice_name
from assistant.speaking.voice import CLIP_RATE_HZ, Clip, VoiceSettings

START_TIMEOUT_S = 20.0
LINE_TIMEOUT_S = 8.0
_PREFIX = "gauntlet-voice-"
_TRY = "run it again; if it happens again, remove the environment folder so that packages are installed anew"


class _Worker:
    """One child process and the thread that reads its answers."""

    def __init__(self, folder: Path, command: list[str]) -> None:
        self.folder = folder
        home = str(Path(assistant.__file__).resolve().parent.parent)
        paths = [home, os.environ.get("PYTHONPATH", "")]
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in paths if p)}
        self._errors = open(folder / "worker-errors.txt", "a+", encoding="utf-8", errors="replace")  # noqa: SIM115 - until close
        self.process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._errors,
            env=environment,
            encoding="utf-8",
            # a group of its own: ended as a whole, not reached by the terminal's Ctrl-C
            start_new_session=True,
        )
        self._answers: queue.Queue[str | None] = queue.Queue()
        threading.Thread(target=self._read, name="voice-answers", daemon=True).start()
        self.ready = False
        self.one_line_only = False

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._answers.put(line)
        self._answers.put(None)

    def wait_ready(self, timeout_s: float) -> None:
        if not self.ready:
            self.one_line_only = self.receive(timeout_s).get("lines") == 1
            self.ready = True

    def send(self, request: dict[str, Any]) -> None:
        assert self.process.stdin is not None
        try:
            self.process.stdin.write(json.dumps(request) + "\n")
            self.process.stdin.flush()
        except OSError as error:
            raise EOFError(str(error)) from error

    def receive(self, timeout_s: float) -> dict[str, Any]:
        """The next answer. Raises TimeoutError, EOFError (process gone) or VoiceError (it said why)."""
        try:
            line = self._answers.get(timeout=timeout_s)
        except queue.Empty:
            raise TimeoutError from None
        if line is None:
            raise EOFError(self._last_words())
        message: dict[str, Any] = json.loads(line)
        if "error" in message:
            raise VoiceError(f"The synthesiser can't speak: {message['error']}", try_next=_TRY)
        return message

    def _last_words(self) -> str:
        self._errors.seek(0)
        lines = self._errors.read().strip().splitlines()
        return lines[-1] if lines else f"exit code {self.process.poll()}"

    def end(self, at_once: bool = False) -> None:
        assert self.process.stdin is not None
        for pipe in (self.process.stdin, self._errors):
            try:
                pipe.close()
            except OSError:
                pass
        try:
            if at_once:
                raise subprocess.TimeoutExpired("", 0)
            self.process.wait(timeout=2)
        except subprocess.TimeoutExpired:
            self._kill()
            self.process.wait()

    def _kill(self) -> None:
        if os.name == "posix":
            try:
                os.killpg(self.process.pid, 9)  # the fork that hangs is in the same group
                return
            except OSError:
                pass
        self.process.kill()


class Pyttsx3Voice:
    """`Voice` through pyttsx3. The first `render` starts the process; `warm_up` does it ahead.

    `line_timeout_s`: a line that takes longer ends the process and raises VoiceError; the next line gets a
    new process.
    """

    def __init__(
        self,
        settings: VoiceSettings | None = None,
        *,
        line_timeout_s: float = LINE_TIMEOUT_S,
        command: list[str] | None = None,
    ) -> None:
        self.settings = settings or VoiceSettings()
        self._line_timeout_s = line_timeout_s
        self._command = command or [sys.executable, "-m", "assistant.speaking.pyttsx3_worker"]
        self._lock = threading.Lock()
        self._worker: _Worker | None = None
        self._folder: Path | None = None
        self._closed = False

    def warm_up(self) -> None:
        """Start the process without waiting for it."""
        with self._lock:
            self._start()

    def render(self, line_text: str) -> Clip:
        if not any(ch.isalnum() for ch in line_text):
            raise VoiceError("There is nothing to say.", expected="a line with at least one word")
        settings = self.settings
        with self._lock:
            try:
                samples, rate_hz = self._ask(line_text, settings)
            except EOFError:  # the process died: once more with a new one
                self._drop()
                try:
                    samples, rate_hz = self._ask(line_text, settings)
                except EOFError as error:
                    self._drop()
                    raise VoiceError(f"The synthesiser stopped: {error}", try_next=_TRY) from error
        samples = trim_silence(to_rate(samples, rate_hz), CLIP_RATE_HZ)
        if samples.size == 0:
            raise VoiceError(f"The synthesiser made no sound for {line_text!r}.", try_next=_TRY)
        return Clip(samples, CLIP_RATE_HZ, line_text)

    def describe(self) -> dict[str, object]:
        return {
            "engine": "pyttsx3+espeak-ng",
            "version": package_version("pyttsx3"),
            "library_version": package_version(),
            "voice": self.settings.voice,
            "rate_wpm": self.settings.rate_wpm,
            "volume": self.settings.volume,
        }

    def close(self) -> None:
        with self._lock:
            self._closed = True
            self._drop(at_once=False)
            if self._folder is not None:
                self._remove()
                self._folder = None

    def __enter__(self) -> Pyttsx3Voice:
        return self

    def __exit__(self, *_exc: object) -> None:
        self.close()

    def _start(self) -> _Worker:
        if self._closed:
            raise VoiceError("This voice is closed.", try_next="make a new one")
        if self._worker is None:
            if self._folder is None:
                self._folder = _work_folder()
                self._remove = weakref.finalize(self, shutil.rmtree, self._folder, True)
            try:
                self._worker = _Worker(self._folder, self._command)
            except OSError as error:
                raise VoiceError(f"The synthesiser's process can't start: {error}", try_next=_TRY) from error
        return self._worker

    def _ask(self, text: str, settings: VoiceSettings) -> tuple[np.ndarray, int]:
        worker = self._start()
        path = worker.folder / "line.wav"
        try:
            worker.wait_ready(START_TIMEOUT_S)
            worker.send(
                {
                    "text": text,
                    "voice": voice_name(settings.voice),
                    "rate_wpm": settings.rate_wpm,
                    "volume": settings.volume,
                    "file": str(path),
                }
            )
            worker.receive(self._line_timeout_s)
            samples, rate_hz = soundfile.read(path, dtype="int16")
            return samples, rate_hz
        except TimeoutError:
            self._drop()
            raise VoiceError(
                f"The synthesiser gave no answer within {self._line_timeout_s:g} s.",
                expected="a sentence in well under a second",
                try_next=_TRY,
            ) from None
        except soundfile.LibsndfileError as error:
            raise VoiceError(f"The synthesiser's file can't be read: {error}", try_next=_TRY) from error
        finally:
            path.unlink(missing_ok=True)
            if self._worker is worker and worker.one_line_only:
                self._drop()
                self._start()  # keep the next one waiting

    def _drop(self, at_once: bool = True) -> None:
        if self._worker is not None:
            self._worker.end(at_once)
            self._worker = None


def _work_folder() -> Path:
    """A private folder for one line at a time; in memory where there is such a place, so that a full disk
    doesn't silence the voice."""
    memory = "/dev/shm"
    place = memory if os.access(memory, os.W_OK) else tempfile.gettempdir()
    try:
        _sweep(Path(place))
        return Path(tempfile.mkdtemp(prefix=_PREFIX, dir=place))
    except OSError as error:
        raise VoiceError(
            f"No temporary folder can be made for the voice: {error}", try_next="free some disk space"
        ) from error


def _sweep(place: Path) -> None:
    """Remove what runs that were killed left behind: our folders older than a day."""
    for folder in place.glob(f"{_PREFIX}*"):
        try:
            if time.time() - folder.stat().st_mtime > 86_400:
                shutil.rmtree(folder, ignore_errors=True)
        except OSError:
            pass  # another run removed it first

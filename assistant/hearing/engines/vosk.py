"""Vosk behind the port: a grammar of whole commands and decoys, in a process of its own."""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import IO, Any

from assistant.errors import ModelError
from assistant.hearing.engines import vosk_child
from assistant.hearing.engines.recogniser import ENGINE_RESTARTED, Hypothesis
from assistant.hearing.engines.vosk_models import folder_sha256
from assistant.hearing.sound.gain import level_out
from assistant.hearing.values import grammar as value_grammar
from assistant.hearing.vocabulary.packs import Pack

LOAD_TIMEOUT_S = 60.0
ANSWER_TIMEOUT_S = 10.0
COMFORT_RMS = 20.0       # dead silence around a word isn't what the models were trained on


class VoskEngine:
    """See `recogniser.Engine`. `folder`: a checked model folder (see `models.check`).

    When the library crashes the utterance is lost (an empty hypothesis, `restarts` counts up), the next one is heard
    by a fresh worker.
    """

    subtracts_noise = True   # otherwise the fan's onset comes back as a word in front
    over_speech_bar = 0.8    # "stop" out of the assistant's own voice came at 0.41 to 0.56, said by a person at 1.0

    def __init__(self, folder: Path, language: str) -> None:
        self._folder, self._language = folder, language
        self._process: subprocess.Popen[bytes] | None = None
        self._frames: queue.Queue[tuple[bytes, bytes]] = queue.Queue()
        self._pack: Pack | None = None
        self._lost = False
        self._grammars: dict[str, list[str]] = {}
        self.restarts = 0
        self.last_restart_s = 0.0

    def describe(self) -> dict[str, object]:
        from importlib.metadata import version

        return {"engine": "vosk", "version": version("vosk"), "model": self._folder.name if self._folder.name != "model"
                else self._folder.parent.name, "model_sha256": folder_sha256(self._folder), "sample_rate_hz": 16_000,
                "language": self._language}

    def load(self, pack: Pack) -> None:
        if pack.language != self._language:
            raise ModelError(f"This model is for '{self._language}', the language pack for '{pack.language}'.",
                             try_next="choose the same language for both")
        if self._process is None:
            self._start()
        wanted = sorted({w for form in pack.forms for w in form.split()})
        values = sorted(value_grammar.words(pack.language)) if pack.language == "en" else []
        unknown = self._ask(b"W", wanted + values + list(pack.decoys) + ["[unk]"], b"U")
        if unknown is None:
            raise ModelError("The speech library stopped while it was asked for its words.", where=str(self._folder))
        missing = [w for w in wanted if w in unknown]
        if missing:
            form = next(f for f in pack.forms if missing[0] in f.split())
            raise ModelError(f"The speech model doesn't know the word '{missing[0]}' (in '{form}').",
                             where=str(self._folder), try_next="choose another word for this command in the language pack")
        garbage = [w for w in pack.decoys if w not in unknown] + ([] if "[unk]" in unknown else ["[unk]"])
        self._grammars = {"commands": pack.forms + garbage}
        if values:
            known = [w for w in values if w not in unknown]
            self._grammars["values"] = known + pack.forms + garbage
        self._pack = pack
        self._lost = False
        self._send_grammars()
        # The answer comes after the grammars: whoever answers has built them, and would otherwise die at every word.
        if self._ask(b"W", [], b"U") is None:
            self._pack = None
            raise ModelError("The speech library stops when it is given this vocabulary: the model is damaged.",
                             where=str(self._folder), try_next="unpack the model again, or use --engine pocketsphinx")

    def decode(self, pcm: bytes, expect: str | None = None, loud_s: float = 0.0, raw: bytes = b"") -> Hypothesis:
        self._lost = False
        for_value = expect is not None and "values" in self._grammars
        self._write(b"B", b"values" if for_value else b"commands")
        levelled = level_out(pcm, COMFORT_RMS)
        for at in range(0, len(levelled), 6400):
            if not self._lost:
                self._write(b"A", levelled[at:at + 6400])
        results = None if self._lost else self._ask(b"F", None, b"H")
        if results is None:
            return Hypothesis("", None, 0.0, scores={ENGINE_RESTARTED: 1.0})
        confidences = [w.get("conf", 0.0) for r in results for w in r.get("result", ())]
        text = " ".join(t for t in (r.get("text", "") for r in results) if t)
        form = text if self._pack and self._pack.word_of(text) else None
        confidence = min(1.0, min(confidences, default=0.0))
        return Hypothesis(text, form, confidence, True, "" if form else text, {"conf": confidence})

    def crash_for_test(self) -> None:
        """Make the worker die as the library would."""
        self._write(b"K")

    def close(self) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        assert process.stdin is not None and process.stdout is not None  # both were asked for
        process.stdin.close()
        try:
            process.wait(timeout=5)
        except subprocess.TimeoutExpired:
            _kill(process)
        process.stdout.close()

    def __del__(self) -> None:
        if getattr(self, "_process", None) is not None:
            self.close()

    def _start(self) -> None:
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
        self._process = subprocess.Popen([sys.executable, "-m", "assistant.hearing.engines.vosk_child", str(self._folder)],
                                         stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                                         env=environment, start_new_session=True)   # Ctrl-C is the session's, not its
        self._frames = queue.Queue()
        threading.Thread(target=_pump, args=(self._process.stdout, self._frames), daemon=True).start()
        kind, _ = self._next(LOAD_TIMEOUT_S)
        if kind != b"R":
            _kill(self._process)
            self._process = None
            raise ModelError("The speech library can't load this model.", where=str(self._folder),
                             try_next="unpack the model again, or use --engine pocketsphinx")

    def _send_grammars(self) -> None:
        for name, words in self._grammars.items():
            self._write(b"G", json.dumps({"name": name, "words": words}, ensure_ascii=False).encode())

    def _input(self) -> IO[bytes]:
        assert self._process is not None and self._process.stdin is not None  # started, with a pipe
        return self._process.stdin

    def _write(self, kind: bytes, body: bytes = b"") -> None:
        try:
            vosk_child.send(self._input(), kind, body)
        except (BrokenPipeError, OSError, ValueError):
            self._restart(whole=True)

    def _next(self, timeout_s: float) -> tuple[bytes, bytes]:
        try:
            return self._frames.get(timeout=timeout_s)
        except queue.Empty:
            return b"", b""

    def _ask(self, kind: bytes, body: object, answer: bytes) -> Any:
        """The answer to one request, or None when the library crashed or hung over it."""
        self._write(kind, b"" if body is None else json.dumps(body, ensure_ascii=False).encode())
        if self._lost:
            return None
        got, data = self._next(ANSWER_TIMEOUT_S)
        if got == answer:
            return json.loads(data)
        self._restart(whole=got != b"C")
        return None

    def _restart(self, whole: bool) -> None:
        """`whole`: the process itself is gone or hangs; otherwise a new worker already waits for the marker."""
        begun = time.monotonic()
        self._lost = True
        self.restarts += 1
        if whole:
            if self._process is not None:
                _kill(self._process)
            self._start()
        else:
            pipe = self._input()
            pipe.write(vosk_child.MARKER)
            pipe.flush()
        if self._pack is not None:
            self._send_grammars()
        self.last_restart_s = time.monotonic() - begun


def _kill(process: subprocess.Popen[bytes]) -> None:
    """The process and the worker it forked."""
    try:
        if hasattr(os, "killpg"):
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
    except (ProcessLookupError, PermissionError):
        pass
    process.wait()


def _pump(source: IO[bytes], frames: queue.Queue[tuple[bytes, bytes]]) -> None:
    while True:
        try:
            frames.put(vosk_child.receive(source))
        except (EOFError, ValueError, OSError):
            frames.put((b"E", b""))
            return

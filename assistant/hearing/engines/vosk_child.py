"""The process that holds Vosk, so that a crash inside the library can't end a session.

Run as `python -m assistant.hearing.engines.vosk_child FOLDER`. Frames on stdin and stdout: one kind byte, four bytes of length,
the body. It loads the model once, then forks a worker; when the worker dies, another is forked from the loaded
model at once (where the system can't fork, the parent starts the whole process again).

In: G name + JSON word list (make a recogniser) · B name (begin) · A pcm · F (finish) · X (abandon) · W JSON words
(which are unknown?) · S marker (after a crash: whatever came before is void).
Out: R ready · H JSON text and words · U JSON unknown words · C the worker crashed, another is there.
"""

from __future__ import annotations

import json
import os
import struct
import sys
from typing import IO, TYPE_CHECKING, Any

if TYPE_CHECKING:
    import vosk

_HEAD = struct.Struct(">cI")
MARKER = b"\x00resynchronise\xff" * 4


def send(out: IO[bytes], kind: bytes, body: bytes = b"") -> None:
    out.write(_HEAD.pack(kind, len(body)) + body)
    out.flush()


def receive(source: IO[bytes]) -> tuple[bytes, bytes]:
    """(kind, body); EOFError at the end."""
    head = _exactly(source, _HEAD.size)
    kind, size = _HEAD.unpack(head)
    return kind, _exactly(source, size)


def _exactly(source: IO[bytes], count: int) -> bytes:
    got = b""
    while len(got) < count:
        part = source.read(count - len(got))
        if not part:
            raise EOFError
        got += part
    return got


class Worker:
    """Recognisers by name over one model; answers frames until the input ends."""

    def __init__(self, model: vosk.Model, source: IO[bytes], out: IO[bytes]) -> None:
        self._model, self._source, self._out = model, source, out
        self._recognisers: dict[str, vosk.KaldiRecognizer] = {}
        self._now: vosk.KaldiRecognizer | None = None
        self._texts: list[dict[str, Any]] = []

    def run(self) -> None:
        while True:
            try:
                kind, body = receive(self._source)
            except EOFError:
                return
            self._answer(kind, body)

    def _answer(self, kind: bytes, body: bytes) -> None:
        import vosk

        if kind == b"G":
            request = json.loads(body)
            recogniser = vosk.KaldiRecognizer(self._model, 16_000, json.dumps(request["words"], ensure_ascii=False))
            recogniser.SetWords(True)
            self._recognisers[request["name"]] = recogniser
        elif kind == b"B":
            self._now, self._texts = self._recognisers[body.decode()], []
        elif kind == b"A" and self._now is not None:
            if self._now.AcceptWaveform(body):
                self._texts.append(json.loads(self._now.Result()))
        elif kind in (b"F", b"X"):
            if self._now is not None:
                self._texts.append(json.loads(self._now.FinalResult()))
            if kind == b"F":
                send(self._out, b"H", json.dumps(self._texts).encode())
            self._now, self._texts = None, []
        elif kind == b"W":
            unknown = [w for w in json.loads(body) if self._model.vosk_model_find_word(w) < 0]
            send(self._out, b"U", json.dumps(unknown).encode())
        elif kind == b"K":   # for tests: die as the library does
            import ctypes

            ctypes.string_at(0)


def _resynchronise(source: IO[bytes]) -> None:
    """Skip to the end of the next marker."""
    held = b""
    while not held.endswith(MARKER):
        byte = source.read(1)
        if not byte:
            raise EOFError
        held = (held + byte)[-len(MARKER):]


def main(folder: str) -> int:
    source = os.fdopen(os.dup(0), "rb", buffering=0)   # unbuffered: nothing of it may stay behind in a dead worker
    out = os.fdopen(os.dup(1), "wb", buffering=0)
    os.dup2(2, 1)   # whatever the library prints goes to stderr
    import vosk

    vosk.SetLogLevel(-2)
    model = vosk.Model(model_path=folder)
    send(out, b"R")
    if not hasattr(os, "fork"):
        Worker(model, source, out).run()
        return 0
    first = True
    while True:
        child = os.fork()
        if child == 0:
            try:
                if not first:
                    _resynchronise(source)
                Worker(model, source, out).run()
            except (EOFError, BrokenPipeError):
                pass
            os._exit(0)
        _, status = os.waitpid(child, 0)
        if os.WIFEXITED(status) and os.WEXITSTATUS(status) == 0:
            return 0
        first = False
        send(out, b"C")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))

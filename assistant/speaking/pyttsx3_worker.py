"""A process of its own that speaks through pyttsx3; run by `pyttsx3_voice`, one JSON line in, one out.

Why a process: the library behind pyttsx3 keeps state from one text to the next (so the same line would sound
different each time), can end its process or hang, and the driver prints on standard output. Here each line is
rendered in a fork of a process that has everything imported but nothing spoken. Where there is no fork the
process serves one line and ends; its caller keeps a fresh one waiting.

In:  {"text", "voice", "rate_wpm", "volume", "file"}   out: {"ready": true, "lines": null or 1}, then
{"ok": true} or {"error": "..."}
"""

from __future__ import annotations

import ctypes
import json
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from typing import Any

from assistant.speaking.espeak_library import driver_lookup, prepare_for_pyttsx3

CAN_FORK = hasattr(os, "fork") and os.environ.get("GAUNTLET_VOICE_NO_FORK") != "1"
WAIT_S = 30.0


def speak_to_file(request: dict[str, Any]) -> None:
    """Render one request into its WAV file; raises RuntimeError or ValueError with the reason."""
    from pyttsx3.drivers import _espeak
    from pyttsx3.engine import Engine

    finished = threading.Event()
    failures: list[str] = []

    def broken(unraisable: sys.UnraisableHookArgs) -> None:  # an exception inside the driver's call-back is raised nowhere else
        failures.append(str(unraisable.exc_value))
        finished.set()

    sys.unraisablehook = broken
    engine = Engine("espeak")
    driver = engine.proxy._driver
    engine.connect("finished-utterance", lambda **_kw: finished.set())
    # Set on the driver itself: the engine's own queue hides errors. The library takes settings in another
    # thread, and the driver's end of loop throws away those it hasn't taken yet (1 line in 100 came out at
    # the default rate), so wait until none is left.
    driver.setProperty("voice", request["voice"])
    driver.setProperty("rate", int(request["rate_wpm"]))
    driver.setProperty("volume", float(request["volume"]))
    _wait_until(lambda: not _espeak.IsPlaying())
    _espeak.dll.espeak_ng_SetRandSeed(
        ctypes.c_long(1)
    )  # breathy voices use noise; the library seeds by the clock
    engine.save_to_file(request["text"], request["file"])
    engine.runAndWait()  # returns before the file is written on some systems
    if not finished.wait(WAIT_S):
        raise RuntimeError(f"no end of the sentence after {WAIT_S:.0f} s")
    if failures:
        raise RuntimeError(failures[0])


def _wait_until(done: Callable[[], bool]) -> None:
    end = time.monotonic() + WAIT_S
    while not done():
        if time.monotonic() > end:
            raise RuntimeError("the synthesiser doesn't take its settings")
        time.sleep(0.0005)


def answer(request: dict[str, Any]) -> dict[str, Any]:
    """What to tell the caller about one request."""
    try:
        speak_to_file(request)
    except Exception as error:
        return {"error": f"{error}" or type(error).__name__}
    return {"ok": True}


def answer_in_fork(request: dict[str, Any]) -> dict[str, Any]:
    """The same from a child process that ends afterwards, so that nothing of this line reaches the next."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.write(writing, json.dumps(answer(request)).encode())
        finally:
            os._exit(0)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        data = pipe.read()
    _, status = os.waitpid(child, 0)
    if not data:
        return {"error": f"the synthesiser ended by itself (status {status})"}
    told: dict[str, Any] = json.loads(data)
    return told


def main() -> None:
    """Serve until standard input ends."""
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)  # the driver prints a line for each file; it may reach nobody
    signal.signal(
        signal.SIGINT, signal.SIG_IGN
    )  # Ctrl-C is the caller's business; the end of input ends this

    def tell(message: dict[str, Any]) -> None:
        out.write(json.dumps(message) + "\n")
        out.flush()

    try:
        prepare_for_pyttsx3()
        with driver_lookup():
            import pyttsx3.drivers.espeak  # noqa: F401
    except Exception as error:
        tell({"error": str(error)})
        return
    tell({"ready": True, "lines": None if CAN_FORK else 1})
    for line in sys.stdin:
        tell(answer_in_fork(json.loads(line)) if CAN_FORK else answer(json.loads(line)))
        if not CAN_FORK:
            out.flush()
            os._exit(0)  # the library has trouble when it is ended in an orderly way


if __name__ == "__main__":
    main()

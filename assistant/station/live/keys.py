"""A foot switch or a second person's keyboard: the same inputs as the voice, by single keys.

A foot switch shows up as a keyboard; the keys below are what it should be set to send. Values (numbers, lots,
dates as 2027-03-31) are typed after `=` and sent with Enter.
"""

from __future__ import annotations

import os
import queue
import sys
import threading
from typing import Any

from assistant.language import vocabulary as w
from assistant.session import inputs

# key -> command; shown by --help and when keys are offered
KEYS: dict[str, str] = {
    " ": w.CONFIRM, "\r": w.CONFIRM, "\n": w.CONFIRM, "c": w.CONFIRM, "n": w.NO, "f": w.STARTED, "d": w.REWETTED, "r": w.REPEAT,
    "h": w.HOW_LONG, "w": w.STILL_WET, "e": w.WHERE, "x": w.WHATS_NEXT, "y": w.WHY, "?": w.HELP, "p": w.PAUSE,
    "g": w.RESUME, "b": w.GO_BACK, "o": w.CORRECTION, "t": w.TROUBLE, "k": w.SKIP, "a": w.CANCEL, "s": w.STOP,
    "1": "torn_glove", "2": "spill", "3": "pressure_alarm", "4": "dropped_item", "5": "dry_surface",
    "6": "splash", "7": "power_cut", "8": "unwell", "9": "fire", "0": "touched",
}
_NAMES = {" ": "space", "\r": "Enter"}


def key_help() -> str:
    """The keys in one line each, for people."""
    shown = [(key, word) for key, word in KEYS.items() if key != "\n"]
    return "\n".join(f"  {_NAMES.get(key, key):>6}  {word.replace('_', ' ')}" for key, word in shown) + (
        "\n       =  then a number, lot or date, then Enter"
    )


class KeyReader:
    """Turns single characters into inputs; pure, so that any source of characters can feed it."""

    def __init__(self, source: str = "keys") -> None:
        self._source = source
        self._typing: str | None = None

    def take(self, char: str) -> inputs.Input | None:
        """The input a character completes, or None. An unknown key is no input."""
        if self._typing is not None:
            if char in "\r\n":
                text, self._typing = self._typing.strip(), None
                return inputs.Value(text, source=self._source, said=text) if text else None
            if char in "\x7f\b":
                self._typing = self._typing[:-1]
            elif char.isprintable():
                self._typing += char
            return None
        if char == "=":
            self._typing = ""
            return None
        word = KEYS.get(char.lower())
        return inputs.Word(word, source=self._source, said=char) if word else None


class TerminalKeys:
    """Reads the terminal key by key in a thread of its own; `get` never blocks. Restores the terminal on close."""

    def __init__(self) -> None:
        self._queue: queue.Queue[inputs.Input] = queue.Queue()
        self._reader = KeyReader()
        self._stop = threading.Event()
        self._restore: Any = None
        if os.name == "posix" and sys.stdin.isatty():
            import termios
            import tty

            self._restore = (termios, termios.tcgetattr(sys.stdin.fileno()))
            tty.setcbreak(sys.stdin.fileno())
        self._thread = threading.Thread(target=self._run, name="keys", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.is_set():
            char = self._read()
            if char == "":
                return
            given = self._reader.take(char)
            if given is not None:
                self._queue.put(given)

    def _read(self) -> str:
        if sys.platform == "win32" and sys.stdin.isatty():
            import msvcrt

            return msvcrt.getwch()
        return sys.stdin.read(1)

    def get(self) -> inputs.Input | None:
        """The next input, or None."""
        try:
            return self._queue.get_nowait()
        except queue.Empty:
            return None

    def close(self) -> None:
        self._stop.set()
        if self._restore:
            termios, old = self._restore
            termios.tcsetattr(sys.stdin.fileno(), termios.TCSADRAIN, old)
            self._restore = None

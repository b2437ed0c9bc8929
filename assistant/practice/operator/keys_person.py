"""A second person at the keys, who types what the technician tells them and the microphone isn't meant to take."""

from __future__ import annotations

from assistant.hearing.values.parsing import parse
from assistant.practice.operator import understanding as u
from assistant.session import inputs

SOURCE = "keys"
TYPING_MS = 2500  # from being told to the last key; common practice, no source


class KeysPerson:
    """Hears the assistant's lines (in English) to know what kind of value is asked for, and types it in order.

    Deterministic: what is told at t is typed at t + `typing_ms`.
    """

    def __init__(self, typing_ms: int = TYPING_MS) -> None:
        self.typed: list[tuple[int, inputs.Input]] = []  # (when, what), for tests and scores
        self._typing_ms = typing_ms
        self._kind = "number"
        self._due: list[tuple[int, inputs.Input]] = []

    def hear(self, text: str) -> None:
        """A line has been spoken to its end."""
        meaning = u.understand(text)
        if meaning.kind == u.VALUE and meaning.what:
            self._kind = meaning.what
        elif meaning.kind == u.WHICH:
            self._kind = "number"

    def told(self, words: str, now_ms: int) -> bool:
        """The technician tells a value in English words; False where it isn't one of the kind asked for."""
        value = parse(self._kind, words)
        if value is None:
            return False
        self._due.append((now_ms + self._typing_ms, inputs.Value(value.text, source=SOURCE, said=value.text)))
        return True

    def press(self, word: str, now_ms: int) -> None:
        """The technician asks for the key of a command (its id)."""
        self._due.append((now_ms + self._typing_ms, inputs.Word(word, source=SOURCE)))

    def keys(self, now_ms: int) -> list[inputs.Input]:
        """What has been typed by `now_ms`, each once."""
        now = [entry for entry in self._due if entry[0] <= now_ms]
        self._due = [entry for entry in self._due if entry[0] > now_ms]
        self.typed += now
        return [given for _, given in now]

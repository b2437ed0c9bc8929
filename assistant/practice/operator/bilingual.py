"""A technician who works in another language than the operator thinks in, with a colleague at the keys.

The operator stays the one who understands, acts and errs; only what it hears and says passes an interpreter.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from assistant.hearing.vocabulary.packs import load_pack
from assistant.practice.operator.interpreter import ENGLISH, Interpreter
from assistant.practice.operator.keys_person import KeysPerson
from assistant.practice.operator.mind import Utterance
from assistant.practice.operator.person import Operator
from assistant.session import inputs


class Bilingual:
    """Stands in an `OperatorRoom` where an operator does. Values and commands without a word in the language are
    told to the colleague, who types them. `words`: command id -> how this person says it, over everything else.

    `spoken`: (command id or "", what was said in the language, when), in order. `not_understood`: lines that the
    interpreter couldn't make out; the operator heard them as they were.
    """

    def __init__(
        self, operator: Operator, interpreter: Interpreter, colleague: KeysPerson, words: Mapping[str, str] | None = None,
    ) -> None:
        self.operator = operator
        self.interpreter = interpreter
        self.colleague = colleague
        self.spoken: list[tuple[str, str, int]] = []
        self.not_understood: list[str] = []
        self._words = dict(words or {})
        self._english = load_pack(ENGLISH)

    def hear(self, text: str, ended_ms: int, role: str = "") -> None:
        """A line has been spoken to its end at `ended_ms`."""
        english = self.interpreter.hear(text)
        if english == text and not text.isascii():
            self.not_understood.append(text)
        self.colleague.hear(english)
        self.operator.hear(english, ended_ms, role)

    def sounding(self, now_ms: int) -> None:
        """The assistant is audible now."""
        self.operator.sounding(now_ms)

    def next_action(self, now_ms: int) -> Utterance | None:
        """What is said aloud by `now_ms`; None while silent or where the colleague is told instead."""
        given = self.operator.next_action(now_ms)
        if given is None:
            return None
        if self.operator.said[-1].meant == "value" and self.colleague.told(given.text, now_ms):
            return None
        word = self._english.word_of(given.text) or ""
        text = self._words.get(word) or self.interpreter.say(given.text)
        if text is None:
            self.colleague.press(word, now_ms)
            return None
        self.spoken.append((word, text, given.start_ms))
        return replace(given, text=text)

    def keys(self, now_ms: int) -> list[inputs.Input]:
        """What the colleague has typed by `now_ms`, each once."""
        return self.colleague.keys(now_ms)

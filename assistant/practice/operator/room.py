"""The room around the microphone, with one virtual operator and a fan in it: sound out, heard lines in."""

from __future__ import annotations

import numpy as np

from assistant.practice.operator.bilingual import Bilingual
from assistant.practice.operator.voice import RATE_HZ, OperatorVoice
from assistant.practice.simulate import Worker
from assistant.session import inputs


class OperatorRoom:
    """Implements the media loop's room. Blocks are asked for in order, each once.

    `utterances`: (text, start_ms, end_ms) as they really sounded.
    """

    def __init__(self, operator: Worker | Bilingual, voice: OperatorVoice) -> None:
        self.operator = operator
        self.voice = voice
        self.utterances: list[tuple[str, int, int]] = []
        self._sound = np.zeros(0, dtype=np.int32)  # of the operator, from the next block on

    def heard(self, text: str, ended_ms: int, role: str = "") -> None:
        """The assistant has finished saying `text`."""
        self.operator.hear(text, ended_ms, role)

    def sounding(self, now_ms: int) -> None:
        """The assistant is audible now. Optional to call."""
        self.operator.sounding(now_ms)

    def keys(self, now_ms: int) -> list[inputs.Input]:
        """What a colleague has typed by `now_ms`, each once; nobody is at the keys of a lone operator."""
        return self.operator.keys(now_ms) if isinstance(self.operator, Bilingual) else []

    def block(self, start_ms: int, samples: int) -> np.ndarray:
        """What the microphone picks up from `start_ms` on: operator and fan, int16 mono, shape (samples,)."""
        end_ms = start_ms + samples * 1000 // RATE_HZ
        spoken = self.operator.next_action(start_ms)
        if spoken is not None:
            sound = self.voice.say(spoken.text, spoken.pace).astype(np.int32)
            at = max(0, (spoken.start_ms - start_ms) * RATE_HZ // 1000)
            whole = np.zeros(max(len(self._sound), at + len(sound)), dtype=np.int32)
            whole[: len(self._sound)] += self._sound
            whole[at : at + len(sound)] += sound
            self._sound = whole
            begin = max(start_ms, spoken.start_ms)
            self.utterances.append((spoken.text, begin, begin + len(sound) * 1000 // RATE_HZ))
        out = self.voice.fan(samples).astype(np.int32)
        part = self._sound[:samples]
        out[: len(part)] += part
        self._sound = self._sound[samples:]
        assert end_ms > start_ms
        return np.clip(out, -32768, 32767).astype(np.int16)

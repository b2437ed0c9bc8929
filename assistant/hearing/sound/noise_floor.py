"""A rolling estimate of the room's noise, taken only between words."""

from __future__ import annotations

from collections import deque

import numpy as np

from assistant.hearing.sound.frames import BINS

BLEND_PER_FRAME = 0.012     # about 0.7 s at 8 ms a frame
LEARN_FRAMES = 30           # 0.24 s: the first sound is taken for the room
STUCK_FRAMES = 375          # 3 s of unbroken "speech": perhaps a fan was switched on


class NoiseFloor:
    """Mean power per bin of the frames that weren't speech.

    Long unbroken sound is re-learnt from the quietest fifth of its frames, so that a fan that was switched
    on becomes background within a few seconds and a real sentence does not.
    """

    def __init__(self) -> None:
        self.power = np.full(BINS, 1.0, dtype=np.float32)
        self.learnt = 0
        self._recent: deque[np.ndarray] = deque(maxlen=STUCK_FRAMES)
        self._in_speech = 0

    def quiet(self, power: np.ndarray) -> None:
        """A frame that isn't part of an utterance."""
        self._in_speech = 0
        self._recent.clear()
        blend = max(BLEND_PER_FRAME, 1.0 / (self.learnt + 1))
        self.power += blend * (power - self.power)
        self.learnt += 1

    def speech(self, power: np.ndarray) -> bool:
        """A frame inside an utterance. True when the floor was re-learnt because the sound never paused."""
        self._recent.append(power)
        self._in_speech += 1
        if self._in_speech < STUCK_FRAMES or self._in_speech % 125:
            return False
        held = np.stack(self._recent)
        loud = held[:, 6:190].sum(axis=1)
        low = held[loud <= np.quantile(loud, 0.2)].mean(axis=0)
        self.power = np.maximum(self.power, low).astype(np.float32)
        return True

"""Speech level without the gaps between words."""

from __future__ import annotations

import numpy as np

from assistant.hearing.sound.frames import RATE_HZ


def active_rms(wave: np.ndarray) -> float:
    """RMS over the louder half of 20 ms frames (in the manner of ITU-T P.56's active speech level)."""
    width = RATE_HZ // 50
    count = max(1, len(wave) // width)
    energy = np.sort((wave[: count * width].reshape(count, -1).astype(np.float64) ** 2).mean(axis=1))
    return float(np.sqrt(energy[len(energy) // 2:].mean()) + 1e-9)

"""Any rate to 16 kHz, and silence at the ends cut off."""

from __future__ import annotations

import numpy as np
import soxr

from assistant.speaking.voice import CLIP_RATE_HZ


def to_rate(samples: np.ndarray, rate_hz: int, wanted_hz: int = CLIP_RATE_HZ) -> np.ndarray:
    """int16 mono at `rate_hz` -> int16 mono at `wanted_hz`, shape (about n * wanted / rate,).

    Raises ValueError for a rate that isn't positive or an array that isn't int16 mono.
    """
    if rate_hz <= 0 or wanted_hz <= 0:
        raise ValueError(f"rates must be positive: {rate_hz} Hz to {wanted_hz} Hz")
    if samples.dtype != np.int16 or samples.ndim != 1:
        raise ValueError(f"expected int16 mono, got {samples.dtype} of shape {samples.shape}")
    if rate_hz == wanted_hz or samples.size == 0:
        return samples.copy()
    resampled: np.ndarray = soxr.resample(samples, rate_hz, wanted_hz, quality="HQ")
    return resampled


def trim_silence(samples: np.ndarray, rate_hz: int, keep_s: float = 0.02, floor: int = 40) -> np.ndarray:
    """Cut the quiet ends (every sample at most `floor`), keeping `keep_s` seconds of them. All quiet ->
    empty."""
    loud = np.flatnonzero(np.abs(samples.astype(np.int32)) > floor)
    if loud.size == 0:
        return samples[:0].copy()
    keep = int(keep_s * rate_hz)
    return samples[max(0, loud[0] - keep) : loud[-1] + 1 + keep].copy()

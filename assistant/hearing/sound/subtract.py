"""Spectral subtraction with the noise measured before the word (Berouti, Schwartz, Makhoul 1979).

The engine's own noise tracker starts anew with every utterance; a profile taken before the word is what
keeps recall up under a fan. Where the room is quiet enough nothing is subtracted: it would only hurt.
"""

from __future__ import annotations

import numpy as np

from assistant.hearing.sound.frames import BINS, HOP, OVERLAP_SUM, ROOT_HANN, WINDOW

OVERSUBTRACT = 1.6   # chosen on the tuning set
FLOOR = 0.06         # part of the noise that stays, so that no band falls to nothing
QUIET_RMS = 12.0     # of 32768: below this the room is quiet and the sound goes through unchanged


class Subtractor:
    """One utterance's noise subtraction: spectra in, cleaned int16 PCM out, HOP samples a frame."""

    def __init__(self, noise_power: np.ndarray, *, gain: float = 1.0, oversubtract: float = OVERSUBTRACT,
                 floor: float = FLOOR) -> None:
        self._noise = noise_power.astype(np.float32)
        self.active = noise_rms(noise_power) > QUIET_RMS
        self._tail = np.zeros(WINDOW, dtype=np.float32)
        self._gain = gain
        self._over, self._floor = oversubtract, floor

    def push(self, spectra: np.ndarray) -> bytes:
        """(n, BINS) complex -> n*HOP int16 samples, delayed by WINDOW-HOP samples."""
        if len(spectra) == 0:
            return b""
        if self.active:
            power = (spectra.real**2 + spectra.imag**2) + 1e-3
            kept = np.maximum(1.0 - self._over * self._noise / power, self._floor)
            spectra = spectra * np.sqrt(kept)
        frames = np.fft.irfft(spectra, n=WINDOW, axis=1).astype(np.float32) * ROOT_HANN / OVERLAP_SUM
        out = np.empty(len(frames) * HOP, dtype=np.float32)
        tail = self._tail
        for k, frame in enumerate(frames):
            tail += frame
            out[k * HOP:(k + 1) * HOP] = tail[:HOP]
            tail[:-HOP] = tail[HOP:]
            tail[-HOP:] = 0.0
        return self._int16(out)

    def _int16(self, samples: np.ndarray) -> bytes:
        whole: np.ndarray = np.clip(np.rint(samples * self._gain), -32768, 32767)
        return whole.astype("<i2").tobytes()

    def flush(self) -> bytes:
        out = self._tail[: WINDOW - HOP].copy()
        self._tail[:] = 0.0
        return self._int16(out)


def noise_rms(noise_power: np.ndarray) -> float:
    """RMS (of 32768) of the noise whose mean frame power per bin is given (Parseval, one-sided spectrum)."""
    total = 2.0 * float(noise_power.sum()) - float(noise_power[0]) - float(noise_power[-1])
    return float(np.sqrt(max(total, 0.0) / WINDOW / float((ROOT_HANN**2).sum())))


assert BINS == WINDOW // 2 + 1

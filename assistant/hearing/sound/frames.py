"""Cut a stream of samples into overlapping frames, the same frames however the stream was cut into blocks."""

from __future__ import annotations

import numpy as np

RATE_HZ = 16_000
HOP = 128      # 8 ms
WINDOW = 512   # 32 ms; 4 hops, so a root-Hann window overlap-adds to a constant
HOP_S = HOP / RATE_HZ
BINS = WINDOW // 2 + 1

# Periodic Hann, square-rooted: analysis times synthesis sums to 2 over four hops (Griffin and Lim 1984, eq. 6).
ROOT_HANN = np.sqrt(0.5 - 0.5 * np.cos(2 * np.pi * np.arange(WINDOW) / WINDOW)).astype(np.float32)
OVERLAP_SUM = 2.0


class Framer:
    """Turns int16 PCM bytes into spectra. Frame k covers samples [k*HOP, k*HOP + WINDOW)."""

    def __init__(self) -> None:
        self._rest = np.zeros(0, dtype=np.float32)
        self._odd = b""
        self.samples = 0
        self.frames = 0

    def feed(self, pcm: bytes) -> tuple[np.ndarray, np.ndarray]:
        """New samples (int16) and the complex spectra (n, BINS) of the frames they complete."""
        pcm = self._odd + pcm
        cut = len(pcm) - (len(pcm) & 1)
        self._odd = pcm[cut:]
        new = np.frombuffer(pcm[:cut], dtype="<i2")
        self.samples += len(new)
        held = np.concatenate([self._rest, new.astype(np.float32)])
        count = max(0, (len(held) - WINDOW) // HOP + 1)
        if count == 0:
            self._rest = held
            return new, np.zeros((0, BINS), dtype=np.complex64)
        windows = np.lib.stride_tricks.sliding_window_view(held, WINDOW)[:: HOP][:count]
        spectra = np.fft.rfft(windows * ROOT_HANN, axis=1).astype(np.complex64)
        self._rest = held[count * HOP:]
        self.frames += count
        return new, spectra


def frame_end_s(frame: int) -> float:
    """Audio position in seconds at which frame number `frame` is complete."""
    return (frame * HOP + WINDOW) / RATE_HZ


def frame_start_s(frame: int) -> float:
    return frame * HOP / RATE_HZ


def band_matrix(low_hz: float = 200.0, high_hz: float = 6000.0, bands: int = 16) -> np.ndarray:
    """(BINS, bands) averaging matrix; band edges equal steps on the mel scale (O'Shaughnessy 1987)."""
    low_mel, high_mel = (2595.0 * np.log10(1.0 + f / 700.0) for f in (low_hz, high_hz))
    edges_mel = np.linspace(low_mel, high_mel, bands + 1)
    edges = 700.0 * (10 ** (edges_mel / 2595.0) - 1.0)
    freq = np.arange(BINS) * RATE_HZ / WINDOW
    out = np.zeros((BINS, bands), dtype=np.float32)
    for b in range(bands):
        inside = (freq >= edges[b]) & (freq < edges[b + 1])
        if not inside.any():
            inside[np.argmin(np.abs(freq - (edges[b] + edges[b + 1]) / 2))] = True
        out[inside, b] = 1.0 / inside.sum()
    return out

"""Small recordings for the tests of hearing."""

from __future__ import annotations

import numpy as np
import soxr

from assistant.speaking.synth import render

RATE = 16_000


def spoken_wave(text: str, voice: str = "en-us+m3", pitch: int = 40, speed: int = 150, level: float = 8000.0) -> np.ndarray:
    """float32 at 16 kHz, peak at `level` of 32768."""
    samples, rate = render(text, voice, pitch, speed)
    wave = soxr.resample(samples.astype(np.float32), rate, RATE)
    return wave / np.abs(wave).max() * level


def mixed(waves: list[np.ndarray], noise: float = 4.0, gap_s: float = 0.8) -> tuple[bytes, list[tuple[float, float]]]:
    """The waves with quiet between them over white noise, and where each lies in seconds."""
    gap = np.zeros(int(gap_s * RATE), dtype=np.float32)
    parts, places, at = [gap], [], len(gap)
    for wave in waves:
        places.append((at / RATE, (at + len(wave)) / RATE))
        parts += [wave, gap]
        at += len(wave) + len(gap)
    whole = np.concatenate(parts)
    whole = whole + np.random.default_rng(7).normal(0.0, noise, len(whole))
    return np.clip(whole, -32768, 32767).astype("<i2").tobytes(), places


def run(listener, pcm: bytes, block: int = 3200) -> list:
    out = []
    for at in range(0, len(pcm), block):
        out += listener.feed(pcm[at:at + block])
    return out + listener.flush()

"""Room sounds made from a seed: fans, coughs, knocks, breath, alarms.

Fans: "tune" and "report" have one shape each; "wide" draws another shape with every seed, to train on.
"""

from __future__ import annotations

import numpy as np

from assistant.hearing.sound.frames import RATE_HZ


def fan(seconds: float, seed: int, kind: str = "tune") -> np.ndarray:
    """Broadband noise falling with frequency, blade hum and its harmonics, slow swell; RMS 1."""
    rng = np.random.default_rng(seed)
    count = int(seconds * RATE_HZ)
    freq = np.fft.rfftfreq(count, 1 / RATE_HZ)
    slope, corner, blade = (0.9, 180.0, 118.0) if kind == "tune" else (0.7, 320.0, 83.0)
    shape = 1.0 / (1.0 + (freq / corner) ** slope)
    if kind == "wide":
        drawn = np.random.default_rng([seed, 7])
        slope, corner, blade = drawn.uniform(0.4, 1.4), drawn.uniform(80.0, 600.0), drawn.uniform(55.0, 190.0)
        shape = 1.0 / (1.0 + (freq / corner) ** slope)
        if drawn.random() < 0.5:
            shape *= 1.0 + drawn.uniform(0.5, 2.5) * np.exp(-(((freq - drawn.uniform(300.0, 3000.0)) / 250.0) ** 2))
    elif kind != "tune":
        shape *= 1.0 + 1.5 * np.exp(-(((freq - 900.0) / 250.0) ** 2))   # a duct's resonance
    spectrum = shape * (rng.normal(size=len(freq)) + 1j * rng.normal(size=len(freq)))
    wave = np.fft.irfft(spectrum, n=count)
    wave /= np.sqrt((wave**2).mean()) + 1e-12
    t = np.arange(count) / RATE_HZ
    for harmonic in range(1, 5):
        wave += 0.35 / harmonic * np.sin(2 * np.pi * blade * harmonic * t + rng.uniform(0, 6.28))
    wave *= 1.0 + 0.08 * np.sin(2 * np.pi * 0.23 * t + rng.uniform(0, 6.28))
    return (wave / np.sqrt((wave**2).mean())).astype(np.float32)


def _burst(rng: np.random.Generator, seconds: float, low: float, high: float, attack_s: float, decay_s: float) -> np.ndarray:
    count = int(seconds * RATE_HZ)
    spectrum = np.fft.rfft(rng.normal(size=count))
    freq = np.fft.rfftfreq(count, 1 / RATE_HZ)
    spectrum *= 1.0 / (1.0 + (low / np.maximum(freq, 1.0)) ** 4) / (1.0 + (freq / high) ** 4)
    t = np.arange(count) / RATE_HZ
    return np.fft.irfft(spectrum, n=count) * (1 - np.exp(-t / attack_s)) * np.exp(-t / decay_s)


def cough(rng: np.random.Generator) -> np.ndarray:
    """One to three bursts, the first explosive, with a voiced tail."""
    parts = []
    for _ in range(int(rng.integers(1, 4))):
        burst = _burst(rng, rng.uniform(0.2, 0.45), 250, rng.uniform(1500, 3500), 0.008, rng.uniform(0.05, 0.15))
        t = np.arange(len(burst)) / RATE_HZ
        voiced = np.sign(np.sin(2 * np.pi * rng.uniform(90, 220) * t)) * np.exp(-t / 0.12) * 0.15 * np.abs(burst).max()
        parts += [burst + voiced, np.zeros(int(rng.uniform(0.03, 0.2) * RATE_HZ))]
    return np.concatenate(parts)


def knock(rng: np.random.Generator) -> np.ndarray:
    """Something hard set down or struck, one to four times."""
    parts = []
    for _ in range(int(rng.integers(1, 5))):
        count = int(rng.uniform(0.08, 0.2) * RATE_HZ)
        t = np.arange(count) / RATE_HZ
        hit = sum(np.sin(2 * np.pi * rng.uniform(120, 2500) * t) * np.exp(-t / rng.uniform(0.008, 0.05)) for _ in range(5))
        parts += [hit, np.zeros(int(rng.uniform(0.02, 0.3) * RATE_HZ))]
    return np.concatenate(parts)


def breath(rng: np.random.Generator) -> np.ndarray:
    """A breath through a mask: a slow hiss."""
    wave = _burst(rng, rng.uniform(0.5, 1.4), 400, rng.uniform(2500, 5000), 0.2, 0.5)
    return wave * np.hanning(len(wave))


def alarm(rng: np.random.Generator) -> np.ndarray:
    """Beeps or a two-tone siren."""
    seconds = rng.uniform(0.4, 2.0)
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    low, high = rng.uniform(500, 1200), rng.uniform(1300, 3200)
    pitch = np.where((t * rng.uniform(1.5, 5.0)) % 1.0 < 0.5, low, high)
    wave = np.sin(2 * np.pi * np.cumsum(pitch) / RATE_HZ)
    return wave * ((t * rng.uniform(1.0, 4.0)) % 1.0 < 0.7)


def rustle(rng: np.random.Generator) -> np.ndarray:
    """A bag or a wipe pack opened."""
    wave = _burst(rng, rng.uniform(0.3, 1.2), 1500, 7000, 0.02, 0.6)
    gate = np.repeat(rng.uniform(0, 1, len(wave) // 400 + 1) ** 3, 400)[: len(wave)]
    return wave * gate


KINDS = {"cough": cough, "knock": knock, "breath": breath, "alarm": alarm, "rustle": rustle}


def burst(kind: str, seed: int) -> np.ndarray:
    """One sound of a kind, peak 1."""
    wave = KINDS[kind](np.random.default_rng([seed, sorted(KINDS).index(kind)]))
    return (wave / (np.abs(wave).max() + 1e-12)).astype(np.float32)

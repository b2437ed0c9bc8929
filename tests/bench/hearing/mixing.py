"""A long recording from many pieces: each at a known place, over a room's noise at a known ratio."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from assistant.hearing.sound.frames import RATE_HZ
from assistant.hearing.sound.speech_level import active_rms
from tests.bench.hearing.noises import fan

SPEECH_RMS = 2200.0          # of 32768: a headset at a normal level
QUIET_ROOM_RMS = 4.0


@dataclass(frozen=True)
class Placed:
    """A piece in the recording. `truth`: command id, or "" where nothing may be accepted. `end_s`: its true end."""

    truth: str
    label: str
    start_s: float
    end_s: float


def mix(pieces: list[tuple[str, str, np.ndarray]], snr_db: float | None, seed: int, fan_kind: str = "tune",
        gap_s: float = 0.9, speech_rms: float = SPEECH_RMS) -> tuple[bytes, list[Placed]]:
    """(truth, label, wave) pieces -> 16 kHz int16 PCM and where each piece lies. `snr_db` None: a quiet room."""
    rng = np.random.default_rng(seed)
    parts, placed, at = [], [], 0
    for truth, label, wave in pieces:
        gap = np.zeros(int((gap_s + rng.uniform(0, 0.3)) * RATE_HZ), dtype=np.float32)
        scaled = wave * (speech_rms / active_rms(wave))
        placed.append(Placed(truth, label, (at + len(gap)) / RATE_HZ, (at + len(gap) + len(wave)) / RATE_HZ))
        parts += [gap, scaled.astype(np.float32)]
        at += len(gap) + len(wave)
    parts.append(np.zeros(RATE_HZ, dtype=np.float32))
    whole = np.concatenate(parts)
    room = QUIET_ROOM_RMS if snr_db is None else speech_rms / 10 ** (snr_db / 20)
    noisy = whole + noise(len(whole), seed, fan_kind) * room
    return np.clip(np.rint(noisy), -32768, 32767).astype("<i2").tobytes(), placed


def noise(count: int, seed: int, kind: str) -> np.ndarray:
    """Fan noise in stretches of a minute, so that long recordings need no huge transform."""
    minute = 60 * RATE_HZ
    parts = [fan(60.0, seed * 1000 + k, kind) for k in range(count // minute + 1)]
    return np.concatenate(parts)[:count]

"""The assistant's signals: short, made of tones, told apart by rhythm first and pitch second.

Rhythm first, since a mask, a fan and a worn ear take away pitch. Each tone carries harmonics, so that it has
energy in several octave bands between 200 and 5000 Hz: NUREG-0700 rev. 2 asks for a signal 20 dB above the
noise in at least one octave band from 200 to 5000 Hz and not above 90 dB(A); ISO 7731 asks for 15 dB(A)
above the ambient noise for a danger signal. The level at the ear is the headset's: the readiness check
sets it.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from assistant.errors import UsageError
from assistant.speaking.voice import CLIP_RATE_HZ

# name -> (peak in dB below full scale, ((pitch_hz, sound_ms, silence_ms), ...)); pitch 0 slides, see _SLIDES
_PATTERNS: dict[str, tuple[float, tuple[tuple[float, int, int], ...]]] = {
    "listening": (-14.0, ((990.0, 60, 0),)),
    "contact_complete": (-8.0, ((523.0, 180, 40), (784.0, 420, 0))),
    "re_wet": (-8.0, ((660.0, 90, 60), (660.0, 90, 60), (660.0, 90, 0))),
    "refused": (-10.0, ((330.0, 380, 0),)),
    "warning": (-6.0, ((587.0, 300, 200), (440.0, 300, 0))),
    "alarm": (-3.0, tuple((hz, 130, gap) for gap in (70, 70, 260) for hz in (880.0,)) * 2),
}
_FALLS = {"refused": 0.6}  # the pitch at the end, as a part of the pitch at the start
_HARMONICS = ((1, 1.0), (2, 0.5), (3, 0.33), (5, 0.2))
_EDGE_S = 0.008

NAMES = tuple(_PATTERNS)


def peak_dbfs(name: str) -> float:
    """Peak level of a chime in dB relative to full scale (negative)."""
    return _pattern(name)[0]


@cache
def chime(name: str) -> np.ndarray:
    """A chime as int16 mono samples at 16 kHz, read-only. UsageError for a name not in NAMES."""
    peak, notes = _pattern(name)
    parts = []
    for pitch_hz, sound_ms, silence_ms in notes:
        parts.append(_tone(pitch_hz, sound_ms / 1000, _FALLS.get(name, 1.0)))
        parts.append(np.zeros(silence_ms * CLIP_RATE_HZ // 1000))
    sound = np.concatenate(parts)
    sound *= 10 ** (peak / 20) * 32767 / np.abs(sound).max()
    samples = np.round(sound).astype(np.int16)
    samples.setflags(write=False)
    return samples


def _tone(pitch_hz: float, duration_s: float, fall: float) -> np.ndarray:
    n = int(duration_s * CLIP_RATE_HZ)
    pitch = pitch_hz * np.linspace(1.0, fall, n)
    phase = 2 * np.pi * np.cumsum(pitch) / CLIP_RATE_HZ
    sound = sum(part * np.sin(k * phase) for k, part in _HARMONICS if k * pitch_hz < CLIP_RATE_HZ / 2)
    edge = np.minimum(np.arange(n), np.arange(n)[::-1]) / (_EDGE_S * CLIP_RATE_HZ)
    return sound * np.minimum(1.0, edge)


def _pattern(name: str) -> tuple[float, tuple[tuple[float, int, int], ...]]:
    if name not in _PATTERNS:
        raise UsageError(f"There is no chime {name!r}.", expected=", ".join(NAMES))
    return _PATTERNS[name]

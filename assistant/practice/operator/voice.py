"""A virtual operator's voice: words to 16 kHz sound at a set level, and the fan it speaks into."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from assistant.practice.operator.persona import VoiceData
from assistant.speaking.noise import FanNoise, active_speech_dbfs
from assistant.speaking.resample import to_rate, trim_silence
from assistant.speaking.synth import render

RATE_HZ = 16_000


@lru_cache(maxsize=512)
def _spoken(text: str, voice: str, pitch: int, speed_wpm: int, level_dbfs: float) -> np.ndarray:
    samples, rate_hz = render(text, voice, pitch, speed_wpm)
    samples = trim_silence(to_rate(samples, rate_hz), RATE_HZ)
    gain = 10 ** ((level_dbfs - active_speech_dbfs(samples, RATE_HZ)) / 20)
    loud = np.clip(np.round(samples.astype(np.float64) * gain), -32768, 32767).astype(np.int16)
    loud.setflags(write=False)
    return loud


class OperatorVoice:
    """Speaks as `data` says: active speech level `level_dbfs`, over a fan `snr_db` below it. Same seed, same sound.

    The fan is continuous, so the stated ratio holds for every utterance: active level (20 ms frames within 25 dB of
    the loudest) minus the fan's root mean square, both over the whole band.
    """

    def __init__(self, data: VoiceData, seed: int = 0, *, snr_db: float | None = None) -> None:
        self.data = data
        self.snr_db = data.snr_db if snr_db is None else snr_db
        self._fan = FanNoise(seed, level_dbfs=min(-12.0, data.level_dbfs - self.snr_db), rate_hz=RATE_HZ)

    def say(self, text: str, pace: float = 1.0) -> np.ndarray:
        """The sound of `text`, int16 mono at 16 kHz, shape (n,), without noise. `pace`: factor on this person's speed.
        Raises VoiceError."""
        d = self.data
        speed = min(450, max(80, round(d.speed_wpm * pace)))
        return _spoken(text, d.voice, d.pitch, speed, d.level_dbfs)

    def fan(self, samples: int) -> np.ndarray:
        """The next stretch of the fan, int16 mono, shape (samples,)."""
        return self._fan.read(samples)

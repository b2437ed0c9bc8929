"""Fan-like noise from a seed, and speech mixed into noise at a stated signal-to-noise ratio."""

from __future__ import annotations

import numpy as np

from assistant.speaking.voice import CLIP_RATE_HZ

SLOPE_DB_PER_OCTAVE = -5.0
CORNER_HZ = 60.0  # flat below: small fans move little air at the lowest tones
BLADE_PASS_HZ = 169.2  # seven blades at 1450 turns a minute
_TONES = ((1, 1.0), (2, 0.5), (3, 0.3))  # harmonics of the blade pass and their parts
_TONE_PART = 0.12  # of the power
_MODULATION_HZ = 0.31
_MODULATION_DB = 1.0
_BLOCK = 4096

FRAME_S = 0.02
ACTIVE_WITHIN_DB = 25.0


class FanNoise:
    """Endless fan-like noise, in pieces of any length with flat memory; same seed, same noise.

    numpy's PCG64 shapes white noise to about -5 dB per octave above 60 Hz, with blade-pass tones and a slow
    swell of about 1 dB. `level_dbfs` is the level (root mean square) relative to full scale.
    """

    def __init__(self, seed: int, *, level_dbfs: float = -35.0, rate_hz: int = CLIP_RATE_HZ) -> None:
        if level_dbfs > -12:
            raise ValueError(f"a level of {level_dbfs} dBFS would clip; at most -12")
        self.rate_hz = rate_hz
        self._random = np.random.Generator(np.random.PCG64(seed))
        self._phases = self._random.uniform(0, 2 * np.pi, len(_TONES) + 1)
        self._level: float = 10 ** (level_dbfs / 20) * 32767
        hz = np.fft.rfftfreq(_BLOCK, 1 / rate_hz)
        self._shape: np.ndarray = np.maximum(hz, CORNER_HZ) ** (SLOPE_DB_PER_OCTAVE / (20 * np.log10(2)))
        self._shape[0] = 0.0
        # window^2 of neighbouring half-overlapped blocks adds to one: their power is constant
        self._window = np.sin(np.pi * (np.arange(_BLOCK) + 0.5) / _BLOCK)
        power = 2 * np.sum(self._shape[1:-1] ** 2) + self._shape[-1] ** 2
        self._broad_gain: float = np.sqrt((1 - _TONE_PART) / power) * np.sqrt(_BLOCK)
        self._tail = self._random_block()[_BLOCK // 2 :]
        self._ready = np.zeros(0)
        self._position = 0

    def read(self, n: int) -> np.ndarray:
        """The next `n` samples, int16 mono."""
        half = _BLOCK // 2
        parts, have = [self._ready], len(self._ready)
        while have < n:
            block = self._random_block()
            parts.append(self._tail + block[:half])
            self._tail = block[half:]
            have += half
        self._ready = np.concatenate(parts)
        broad, self._ready = self._ready[:n], self._ready[n:]
        t = (self._position + np.arange(n)) / self.rate_hz
        self._position += n
        tone_rms = np.sqrt(sum(part**2 for _, part in _TONES) / 2)
        tones = sum(
            part * np.sin(2 * np.pi * k * BLADE_PASS_HZ * t + self._phases[i])
            for i, (k, part) in enumerate(_TONES)
        ) * (np.sqrt(_TONE_PART) / tone_rms)
        swell = 10 ** (_MODULATION_DB / 20 * np.sin(2 * np.pi * _MODULATION_HZ * t + self._phases[-1]))
        found: np.ndarray = np.clip(np.round((broad + tones) * swell * self._level), -32768, 32767)
        return found.astype(np.int16)

    def _random_block(self) -> np.ndarray:
        white = np.fft.rfft(self._random.standard_normal(_BLOCK))
        return np.fft.irfft(white * self._shape, _BLOCK) * self._window * self._broad_gain


def fan_noise(
    duration_s: float, seed: int, *, level_dbfs: float = -35.0, rate_hz: int = CLIP_RATE_HZ
) -> np.ndarray:
    """`duration_s` of `FanNoise` as int16 mono."""
    return FanNoise(seed, level_dbfs=level_dbfs, rate_hz=rate_hz).read(round(duration_s * rate_hz))


def rms_dbfs(samples: np.ndarray) -> float:
    """Root mean square level of int16 samples in dB relative to full scale; -inf for silence."""
    power = float(np.mean(samples.astype(np.float64) ** 2)) if len(samples) else 0.0
    return 10 * np.log10(power / 32767**2) if power > 0 else float("-inf")


def active_speech_dbfs(speech: np.ndarray, rate_hz: int = CLIP_RATE_HZ) -> float:
    """Level of speech while it sounds: mean power of the 20 ms frames within 25 dB of the loudest one.

    A simple stand-in for the active level of ITU-T P.56; pauses don't count. -inf for silence.
    """
    size = int(FRAME_S * rate_hz)
    whole = len(speech) // size * size
    frames = speech[:whole].reshape(-1, size) if whole else speech.reshape(1, -1)
    power = np.mean(frames.astype(np.float64) ** 2, axis=1)
    if power.size == 0 or not power.max() > 0:
        return float("-inf")
    active = power[power >= power.max() * 10 ** (-ACTIVE_WITHIN_DB / 10)]
    return float(10 * np.log10(active.mean() / 32767**2))


def noise_gain(speech: np.ndarray, noise: np.ndarray, snr_db: float, rate_hz: int = CLIP_RATE_HZ) -> float:
    """Factor for `noise` so that active speech level minus noise level (RMS) is `snr_db`.

    Raises ValueError when one of them is silent.
    """
    speech_db, noise_db = active_speech_dbfs(speech, rate_hz), rms_dbfs(noise)
    if not np.isfinite(speech_db) or not np.isfinite(noise_db):
        raise ValueError("speech and noise must both have sound")
    return 10 ** ((speech_db - snr_db - noise_db) / 20)


def mix_at_snr(
    speech: np.ndarray, noise: np.ndarray, snr_db: float, rate_hz: int = CLIP_RATE_HZ
) -> np.ndarray:
    """Speech as it is plus noise scaled to `snr_db`: int16, as long as the noise, saturating.

    SNR = active speech level (`active_speech_dbfs`) - noise level (RMS over all of `noise`), both in dB
    over the whole band. The speech begins at the noise's first sample; noise must be at least as long
    (ValueError).
    """
    if len(noise) < len(speech):
        raise ValueError(f"the noise ({len(noise)} samples) is shorter than the speech ({len(speech)})")
    total = noise.astype(np.float64) * noise_gain(speech, noise, snr_db, rate_hz)
    total[: len(speech)] += speech
    return np.clip(np.round(total), -32768, 32767).astype(np.int16)

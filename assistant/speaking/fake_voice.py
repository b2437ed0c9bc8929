"""A voice without a synthesiser: tone bursts as long as the words. Shipped for tests and fast runs."""

from __future__ import annotations

import zlib

import numpy as np

from assistant.errors import VoiceError
from assistant.speaking.estimate import syllables
from assistant.speaking.voice import CLIP_RATE_HZ, Clip, VoiceSettings

SYLLABLE_S = 0.075  # at 150 words a minute; other rates in proportion
_PAUSE_PART = 0.25  # of each syllable's time, silent, so that bursts can be counted
_REFERENCE_WPM = 150


class FakeVoice:
    """`Voice` that makes one burst per syllable; pitch by word, so that different lines sound different."""

    def __init__(self, settings: VoiceSettings | None = None) -> None:
        self.settings = settings or VoiceSettings(voice="tone")
        self.rendered: list[str] = []
        self._closed = False

    def render(self, line_text: str) -> Clip:
        if self._closed:
            raise VoiceError("This voice is closed.", try_next="make a new one")
        if not any(ch.isalnum() for ch in line_text):
            raise VoiceError("There is nothing to say.", expected="a line with at least one word")
        self.rendered.append(line_text)
        syllable_s = SYLLABLE_S * _REFERENCE_WPM / self.settings.rate_wpm
        n = int(syllable_s * CLIP_RATE_HZ)
        sounding = int(n * (1 - _PAUSE_PART))
        fade = np.minimum(
            1.0, np.minimum(np.arange(sounding), np.arange(sounding)[::-1]) / (0.005 * CLIP_RATE_HZ)
        )
        parts = []
        for word in line_text.split():
            pitch_hz = 200 + zlib.crc32(word.lower().encode()) % 400
            tone = np.zeros(n)
            tone[:sounding] = np.sin(2 * np.pi * pitch_hz * np.arange(sounding) / CLIP_RATE_HZ) * fade
            parts.extend([tone] * syllables(word))
        samples = np.concatenate(list(parts)) * (12_000 * self.settings.volume)
        return Clip(samples.round().astype(np.int16), CLIP_RATE_HZ, line_text)

    def describe(self) -> dict[str, object]:
        return {
            "engine": "tones",
            "version": "1",
            "library_version": "none",
            "voice": self.settings.voice,
            "rate_wpm": self.settings.rate_wpm,
            "volume": self.settings.volume,
        }

    def close(self) -> None:
        self._closed = True

"""The port through which the assistant speaks: a line of text in, one clip of sound out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

CLIP_RATE_HZ = 16_000

RATE_STEP_WPM = 20
RATE_LIMITS_WPM = (90, 230)
VOLUME_STEP = 0.15
VOLUME_LIMITS = (0.25, 1.0)


@dataclass(frozen=True)
class Clip:
    """Sound of one line: `samples` int16 mono, shape (n,), read-only; `rate_hz` samples a second; `text`
    as asked."""

    samples: np.ndarray
    rate_hz: int
    text: str

    def __post_init__(self) -> None:
        if self.samples.dtype != np.int16 or self.samples.ndim != 1:
            raise TypeError(f"a clip is int16 mono, not {self.samples.dtype} of shape {self.samples.shape}")
        self.samples.setflags(write=False)

    @property
    def duration_s(self) -> float:
        return len(self.samples) / self.rate_hz


@dataclass(frozen=True)
class VoiceSettings:
    """How to speak: `voice` name, `rate_wpm` words per minute, `volume` 0 to 1 of full."""

    voice: str = "en-us"
    rate_wpm: int = 150
    volume: float = 0.85

    def slower(self) -> VoiceSettings:
        return replace(self, rate_wpm=max(RATE_LIMITS_WPM[0], self.rate_wpm - RATE_STEP_WPM))

    def faster(self) -> VoiceSettings:
        return replace(self, rate_wpm=min(RATE_LIMITS_WPM[1], self.rate_wpm + RATE_STEP_WPM))

    def louder(self) -> VoiceSettings:
        return replace(self, volume=min(VOLUME_LIMITS[1], round(self.volume + VOLUME_STEP, 2)))

    def quieter(self) -> VoiceSettings:
        return replace(self, volume=max(VOLUME_LIMITS[0], round(self.volume - VOLUME_STEP, 2)))


# How the assistant speaks in each language.
VOICES = {"en": VoiceSettings(), "ko": VoiceSettings(voice="ko", rate_wpm=140)}


class Voice(Protocol):
    """Speaks lines. One owner; `render` may be called from any thread, one at a time is served."""

    settings: VoiceSettings
    """What the next `render` uses; set it anew for slower or louder."""

    def render(self, line_text: str) -> Clip:
        """The sound of one line at CLIP_RATE_HZ; the same line and settings give the same samples.

        Raises VoiceError when the line is empty, the voice unknown or the synthesiser can't speak.
        """
        ...

    def describe(self) -> dict[str, object]:
        """What is speaking, for the record: engine, version, voice, rate_wpm, volume; JSON values only."""
        ...

    def close(self) -> None:
        """Let go of processes and folders; harmless twice. A later `render` raises VoiceError."""
        ...

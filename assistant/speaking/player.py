"""Lines and chimes, one after the other, through a voice and a sink; stopped at once when asked."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from assistant.speaking.chimes import chime
from assistant.speaking.sink import PlayHandle, Sink
from assistant.speaking.voice import CLIP_RATE_HZ, Voice

GAP_S = 0.15


@dataclass(frozen=True)
class Sounding:
    """One line or chime on its way: `text` is the line or the chime's name, `kind` "line" or "chime"."""

    kind: str
    text: str
    handle: PlayHandle

    @property
    def start_s(self) -> float:
        return self.handle.start_s

    @property
    def end_s(self) -> float:
        return self.handle.end_s

    @property
    def interrupted(self) -> bool:
        return self.handle.interrupted

    def done(self) -> bool:
        return self.handle.done()


class Player:
    """Speaks lines in the order given, `GAP_S` apart. Times are on the sink's clock.

    Doesn't own voice or sink.
    """

    def __init__(self, voice: Voice, sink: Sink) -> None:
        self.voice = voice
        self.sink = sink
        self._current: list[Sounding] = []

    def say(self, line_text: str, start_s: float | None = None) -> Sounding:
        """Speak a line after what is sounding, not before `start_s`. Raises VoiceError, SoundDeviceError."""
        clip = self.voice.render(line_text)
        return self._queue("line", line_text, clip.samples, clip.rate_hz, start_s)

    def chime(self, name: str, start_s: float | None = None) -> Sounding:
        """Sound a chime after what is sounding, not before `start_s`. UsageError for an unknown name."""
        return self._queue("chime", name, chime(name), CLIP_RATE_HZ, start_s)

    def stop(self, at_s: float | None = None) -> list[Sounding]:
        """Silence everything, started or waiting; returns what was cut or never begun."""
        cut = [s for s in self._current if not s.done()]
        for sounding in cut:
            sounding.handle.stop(at_s)
        self._current = []
        return cut

    def busy(self) -> bool:
        """True while something sounds or waits to."""
        self._current = [s for s in self._current if not s.done()]
        return bool(self._current)

    def free_s(self) -> float:
        """When the last sound ends; now, when nothing sounds."""
        return max([self.sink.now_s(), *(s.end_s for s in self._current if not s.done())])

    def slower(self) -> None:
        self.voice.settings = self.voice.settings.slower()

    def faster(self) -> None:
        self.voice.settings = self.voice.settings.faster()

    def louder(self) -> None:
        self.voice.settings = self.voice.settings.louder()

    def quieter(self) -> None:
        self.voice.settings = self.voice.settings.quieter()

    def _queue(self, kind: str, text: str, samples: np.ndarray, rate_hz: int, start_s: float | None) -> Sounding:
        waiting = self.busy()
        earliest = self.free_s() + (GAP_S if waiting else 0.0)
        wanted = earliest if start_s is None else max(start_s, earliest)
        sounding = Sounding(kind, text, self.sink.play(samples, rate_hz, wanted))
        self._current.append(sounding)
        return sounding

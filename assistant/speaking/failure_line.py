"""The one line that may be spoken without being on disk first: it says that the disk can't be written."""

from __future__ import annotations

from assistant.speaking.chimes import chime
from assistant.speaking.sink import PlayHandle, Sink
from assistant.speaking.voice import CLIP_RATE_HZ, Clip, Voice

TEXT = "The record can't be written. Stop here. Make safe. Call your supervisor."


class FailureLine:
    """Rendered once at the start and held in memory: playing it needs no disk, no synthesiser and no cache.

    Raises VoiceError at the start when it can't be rendered, so that no session begins without it.
    """

    def __init__(self, voice: Voice, text: str = TEXT) -> None:
        self.clip: Clip = voice.render(text)
        chime("alarm")  # made now, held by its own cache

    def play(self, sink: Sink) -> PlayHandle:
        """Stop everything else, sound the alarm, then the line; returns the line's handle."""
        sink.stop_all()
        alarm = sink.play(chime("alarm"), CLIP_RATE_HZ)
        return sink.play(self.clip.samples, self.clip.rate_hz, alarm.end_s + 0.1)

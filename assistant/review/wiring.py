"""What the pages need from other rooms, handed in as plain functions, so that no page knows those rooms.

The one module of this room that may reach the voice and the trainees' evidence (tests/test_rooms.py).
"""

from __future__ import annotations

import io
import threading
import wave

from assistant.errors import GauntletError, RecordError
from assistant.speaking.open_voice import open_voice
from assistant.speaking.voice import Voice, VoiceSettings

_SETTINGS = {"en": VoiceSettings(), "ko": VoiceSettings(voice="ko", rate_wpm=140)}


class SpeakAgain:
    """Text to WAV bytes with the assistant's own voice, started when it is first asked for."""

    def __init__(self) -> None:
        self._voices: dict[str, Voice] = {}
        self._lock = threading.Lock()

    def __call__(self, text: str, language: str) -> bytes:
        """The sound of `text`. Raises RecordError where it can't be spoken."""
        try:
            with self._lock:
                voice = self._voices.get(language)
                if voice is None:
                    voice = self._voices[language] = open_voice(_SETTINGS[language], shape=language == "en")
                clip = voice.render(text)
        except (GauntletError, KeyError) as error:
            raise RecordError(
                "This line can't be spoken again.", try_next="Read it under 'Everything said and heard'."
            ) from error
        held = io.BytesIO()
        with wave.open(held, "wb") as out:
            out.setnchannels(1)
            out.setsampwidth(2)
            out.setframerate(clip.rate_hz)
            out.writeframes(clip.samples.tobytes())
        return held.getvalue()

    def close(self) -> None:
        """Let go of the voices' processes."""
        with self._lock:
            for voice in self._voices.values():
                voice.close()
            self._voices.clear()

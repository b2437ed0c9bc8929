"""A person at a headset for the words drill: the word is shown, and what the microphone then picks up is taken."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from assistant.practice.operator.voice import RATE_HZ
from assistant.practice.trainee.words_drill import Speaker

LISTEN_S = 3.0


def microphone_speaker(
    show: Callable[[str], None], microphone: str | None = None, listen_s: float = LISTEN_S,
) -> tuple[Speaker, Speaker]:
    """As the person speaks, and louder. `microphone`: by number or name, None for the default one. Raises SoundDeviceError when there is no microphone."""
    from assistant.hearing.sound.headset import HeadsetSource
    from assistant.station.live.microphone import Microphone

    source = Microphone(lambda: HeadsetSource(int(microphone) if microphone and microphone.isdigit() else microphone))

    def speak(form: str, how: str = "Say") -> np.ndarray:
        show(f"  {how}: {form}")
        wanted, blocks = round(listen_s * RATE_HZ), list[np.ndarray]()
        while sum(len(b) for b in blocks) < wanted and not source.lost():
            block = source.read(0.2)
            if block:
                blocks.append(np.frombuffer(block, dtype="<i2"))
        return np.concatenate(blocks) if blocks else np.zeros(0, dtype=np.int16)

    return speak, lambda form: speak(form, "Say it louder")

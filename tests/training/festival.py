"""Debian's festival, where it is installed: voices of other makes to train on. One run speaks many texts."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

import numpy as np
import soundfile
import soxr

from assistant.errors import VoiceError
from assistant.hearing.sound.frames import RATE_HZ

VOICES = Path("/usr/share/festival/voices")


def available(name: str) -> bool:
    """Whether the program and this voice are here (packages festival, festvox-kdlpc16k, festvox-us-slt-hts)."""
    return shutil.which("festival") is not None and any(VOICES.glob(f"*/{name}"))


def speak(texts: list[str], name: str, stretch: float, scale: float) -> list[np.ndarray]:
    """float32 at 16 kHz, one for each text. `stretch`: of durations; `scale`: squeezes the sound in time. Texts are
    words and spaces only. Raises VoiceError."""
    lines = [f"(voice_{name})", f"(Parameter.set 'Duration_Stretch {stretch})"]
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        lines += [f'(utt.save.wave (utt.synth (eval (list \'Utterance \'Text "{text}"))) "{folder / str(k)}.wav" \'riff)'
                  for k, text in enumerate(texts)]
        script = folder / "speak.scm"
        script.write_text("\n".join(lines), encoding="utf-8")
        ran = subprocess.run(["festival", "-b", str(script)], capture_output=True, text=True)
        try:
            read = [soundfile.read(folder / f"{k}.wav", dtype="float32") for k in range(len(texts))]
        except soundfile.LibsndfileError as error:
            raise VoiceError("Festival didn't speak.", where=ran.stderr[-200:]) from error
    return [soxr.resample(samples, rate * scale, RATE_HZ) for samples, rate in read]

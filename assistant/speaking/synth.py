"""Direct way to the packaged synthesiser (espeak-ng, GPL-3.0, loaded at run time): any voice, as samples.

For the virtual operators' voices and for test sounds. The assistant's own voice goes through the `Voice`
port.
"""

from __future__ import annotations

import _ctypes
import atexit
import ctypes
import functools
import os
import shutil
import sys
import tempfile
import threading
from pathlib import Path
from typing import Any

import numpy as np

from assistant.errors import VoiceError
from assistant.speaking.espeak_library import library_and_data

# Values from espeak-ng's public header speak_lib.h.
_SYNCHRONOUS = 2
_DONT_EXIT = 0x8000
_POS_CHARACTER = 1
_CHARS_UTF8 = 1
_RATE, _VOLUME, _PITCH = 1, 2, 3

SPEED_WPM = (80, 450)
PITCH = (0, 99)

_LOCK = threading.Lock()  # the library holds one global state
_ALIASES = {"en-gb": "en", "en-uk": "en"}  # with a variant the library knows British English only as "en"
_Callback = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p)


class _Library:
    """The library freshly loaded for one text; leaves nothing behind when closed.

    Its wave generator keeps phase and noise in static variables that no call resets, so a second text would
    depend on the first. Loading costs about 5 ms and makes the same text the same samples, whatever came
    before. It is loaded from a private copy: a file that somebody else in this process holds would not be
    loaded anew.
    """

    def __init__(self) -> None:
        path, data = library_and_data()
        try:
            # DEEPBIND: its calls to itself stay inside this copy even where another one is loaded globally
            self.dll = ctypes.CDLL(
                _private_copy(path), mode=getattr(os, "RTLD_DEEPBIND", 0) | ctypes.DEFAULT_MODE
            )
        except OSError as error:
            raise VoiceError(
                f"The speech synthesiser's library can't be loaded: {error}",
                where=path,
                try_next="install the package espeakng-loader for this platform",
            ) from error
        self.dll.espeak_Synth.argtypes = [
            ctypes.c_char_p, ctypes.c_size_t, ctypes.c_uint, ctypes.c_int, ctypes.c_uint, ctypes.c_uint,
            ctypes.POINTER(ctypes.c_uint), ctypes.c_void_p,
        ]  # fmt: skip
        self.rate_hz = int(self.dll.espeak_Initialize(_SYNCHRONOUS, 200, data.encode(), _DONT_EXIT))
        if self.rate_hz <= 0:
            self.close()
            raise VoiceError("The speech synthesiser can't start.", where=data)
        self.chunks: list[bytes] = []
        self._callback = _Callback(self._on_samples)  # kept: the library holds only a pointer to it
        self.dll.espeak_SetSynthCallback(self._callback)

    def _on_samples(self, samples: Any, count: int, _events: Any) -> int:
        if count > 0 and samples:
            self.chunks.append(ctypes.string_at(samples, count * 2))
        return 0

    def close(self) -> None:
        self.dll.espeak_Terminate()
        if sys.platform == "win32":
            _ctypes.FreeLibrary(self.dll._handle)
        else:
            _ctypes.dlclose(self.dll._handle)


# Voice, pitch and words a minute with which the Korean model hears each word of its pack (16 of 16 in a first look).
KOREAN_TRIED = ("ko+f2", 45, 140)


def render(text: str, voice: str = "en-us", pitch: int = 50, speed_wpm: int = 150) -> tuple[np.ndarray, int]:
    """Speak `text`; returns (int16 mono samples, shape (n,), rate in Hz). The same call gives the same
    samples.

    `voice` is a language with an optional variant: "en-us", "en-us+f3", "en-gb+m3", "ko+klatt2".
    `pitch` 0-99, `speed_wpm` 80-450 words per minute. Raises VoiceError for an empty text, an unknown
    voice or a setting out of range.
    """
    if not any(ch.isalnum() for ch in text):
        raise VoiceError("There is nothing to say.", expected="a text with at least one word")
    _check("pitch", pitch, PITCH)
    _check("speed_wpm", speed_wpm, SPEED_WPM)
    name = voice_name(voice)
    with _LOCK:
        library = _Library()
        try:
            return _speak(library, text, name, pitch, speed_wpm), library.rate_hz
        finally:
            library.close()


def voice_name(voice: str) -> str:
    """The library's own name for a voice such as "en-gb+m3"; raises VoiceError for an unknown voice or
    variant.

    The library itself takes an unknown variant in silence and speaks with the plain voice.
    """
    language, _, variant = voice.partition("+")
    language = _ALIASES.get(language.lower(), language.lower())
    languages, variants = _known_voices(library_and_data()[1])
    if language not in languages:
        raise VoiceError(
            f"The synthesiser has no voice {voice!r}.",
            expected="a language and an optional variant, such as en-us or en-gb+m3",
        )
    if variant and variant not in variants:
        raise VoiceError(
            f"The synthesiser has no voice variant {variant!r}.",
            where=voice,
            expected="such as m3, f3, klatt2",
        )
    return f"{language}+{variant}" if variant else language


@functools.cache
def _private_copy(path: str) -> str:
    """A copy of the library in a temporary folder that goes with the process; the original where none can
    be."""
    try:
        folder = tempfile.mkdtemp(prefix="gauntlet-synth-")
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
        return shutil.copyfile(path, os.path.join(folder, os.path.basename(path)))
    except OSError:
        return path


@functools.cache
def _known_voices(data: str) -> tuple[frozenset[str], frozenset[str]]:
    """Languages (file names and their `language` lines, lower case) and variants, read from the data
    folder."""
    languages = set()
    for file in Path(data, "lang").rglob("*"):
        if file.is_file():
            languages.add(file.name.lower())
            for line in file.read_text(encoding="utf-8", errors="replace").splitlines():
                if line.startswith("language "):
                    languages.add(line.split()[1].lower())
    return frozenset(languages), frozenset(os.listdir(Path(data, "voices", "!v")))


def _check(name: str, value: int, limits: tuple[int, int]) -> None:
    low, high = limits
    if not low <= value <= high:
        raise VoiceError(f"{name} {value} is out of range.", expected=f"{low} to {high}")


def _speak(library: _Library, text: str, voice: str, pitch: int, speed_wpm: int) -> np.ndarray:
    dll = library.dll
    if dll.espeak_SetVoiceByName(voice.encode()) != 0:
        raise VoiceError(
            f"The synthesiser has no voice {voice!r}.",
            expected="a language and an optional variant, such as en-us or en-gb+m3",
        )
    dll.espeak_ng_SetRandSeed(ctypes.c_long(1))  # noise of breathy and Klatt voices
    dll.espeak_SetParameter(_RATE, speed_wpm, 0)
    dll.espeak_SetParameter(_PITCH, pitch, 0)
    dll.espeak_SetParameter(_VOLUME, 100, 0)
    library.chunks.clear()
    data = text.encode("utf-8") + b"\0"
    status = dll.espeak_Synth(data, len(data), 0, _POS_CHARACTER, 0, _CHARS_UTF8, None, None)
    dll.espeak_Synchronize()
    samples = np.frombuffer(b"".join(library.chunks), dtype=np.int16).copy()
    library.chunks.clear()
    if status != 0 or samples.size == 0:
        raise VoiceError(f"The synthesiser made no sound for {text!r} (status {status}).")
    return samples

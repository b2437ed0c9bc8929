"""How a live session reaches microphone, headset, voice, engine, keys and clock: factories, so that tests have none."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from assistant.hearing.engines.recogniser import Engine
from assistant.record.storage.files import Files
from assistant.speaking.open_voice import open_voice
from assistant.speaking.voice import VoiceSettings
from assistant.station.live.battery import Batteries, batteries
from assistant.station.live.keys import TerminalKeys
from assistant.station.live.loop import Keys, Source
from assistant.station.live.microphone import Microphone
from assistant.station.live.setup import listening_engine
from assistant.station.live.speaker import Speaker
from assistant.station.loop.clock import LiveClock


def _nobody(question: str) -> bool | None:
    return None


def _ask(question: str) -> bool | None:
    """On the terminal; None where there is none to answer at."""
    return click.confirm(question, err=True) if sys.stdin.isatty() else None


@dataclass(frozen=True, slots=True)
class LiveDevices:
    """`sink` and `source` get a device's number or name, or None for the default. `clock` gets the session time it
    starts at (ms). `files`: the record's file system, None for the real one. `ask`: a question before the start, None where
    nobody can be asked."""

    sink: Callable[[str | None], Any]
    source: Callable[[str | None], Source]
    voice: Callable[[VoiceSettings], Any]
    engine: Callable[[str, Path | str | None, str | None], Engine]
    keys: Callable[[], Keys]
    clock: Callable[[int], LiveClock]
    files: Files | None = None
    ask: Callable[[str], bool | None] = _nobody
    batteries: Callable[[], Batteries] = Batteries


def _device(text: str | None) -> int | str | None:
    return int(text) if text is not None and text.isdigit() else text


def _speaker(name: str | None) -> Speaker:
    from assistant.speaking.headset_sink import HeadsetSink

    return Speaker(lambda: HeadsetSink(_device(name)))


def _microphone(name: str | None) -> Microphone:
    from assistant.hearing.sound.headset import HeadsetSource

    return Microphone(lambda: HeadsetSource(_device(name)))


REAL = LiveDevices(
    sink=_speaker, source=_microphone, voice=open_voice, engine=listening_engine, keys=TerminalKeys, clock=LiveClock,
    ask=_ask, batteries=batteries,
)

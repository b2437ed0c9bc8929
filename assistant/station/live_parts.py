"""What a session at a headset works with, live or practice: opened in order of what fails soonest."""

from __future__ import annotations

import time
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from assistant.hearing.listener import Listener
from assistant.procedure.plan import Plan
from assistant.session.prompts import instruction
from assistant.session.state import State
from assistant.speaking.failure_line import FailureLine
from assistant.speaking.player import Player
from assistant.station.level_check import check_hearing
from assistant.station.live_devices import LiveDevices
from assistant.station.setup import VOICES, Prepared


@dataclass(frozen=True, slots=True)
class LiveChoices:
    """What the person chose on the command line."""

    technician: str | None = None
    records: Path | None = None
    folder: Path | None = None
    microphone: str | None = None
    headset: str | None = None
    with_keys: bool = False
    no_voice_in: bool = False
    language: str = "en"
    engine: str | None = None
    model: str | None = None
    options: tuple[tuple[str, bool], ...] = ()
    brief: bool = False
    closed_headset: bool = False
    plain: bool = False


@dataclass(slots=True)
class Parts:
    """The open devices. `source`, `listener` and `engine` are None where keys are the only way in."""

    sink: Any
    voice: Any
    failure: FailureLine
    source: Any = None
    engine: Any = None
    listener: Listener | None = None
    level: dict[str, Any] | None = None


def open_parts(
    ready: Prepared, chosen: LiveChoices, devices: LiveDevices, stack: ExitStack, *, check_level: bool,
) -> Parts:
    """Open everything, the cheapest failure first; `stack` closes it. Raises SoundDeviceError, ModelError, VoiceError. After a break the level isn't checked again:
    time counts then, and the keys are offered where hearing fails."""
    language = ready.pack.language
    sink = devices.sink(chosen.headset)
    stack.callback(sink.close)
    source = None
    if not chosen.no_voice_in:
        source = devices.source(chosen.microphone)
        stack.callback(source.close)
    voice = devices.voice(VOICES[language])
    stack.callback(voice.close)
    parts = Parts(sink, voice, FailureLine(voice), source)
    if source is not None:
        begun = time.monotonic()
        parts.engine = devices.engine(language, chosen.model, chosen.engine)
        stack.callback(parts.engine.close)
        make = lambda: Listener(  # noqa: E731 - one for the check, one for the session: each has a clock of its own
            parts.engine, ready.pack, latency_s=getattr(sink, "latency_s", 0.0), closed_headset=chosen.closed_headset,
        )
        first = make()
        if check_level:
            parts.level = check_hearing(
                first, source, Player(voice, sink), other_way_in=chosen.with_keys, say=lambda text: click.echo(text, err=True),
                load_s=time.monotonic() - begun,
            )
        parts.listener = make()
    return parts


def prepare_lines(voice: Any, plan: Plan, state: State) -> None:
    """Have the next few instructions ready, so that an answer starts at once."""
    owed = [s for s in plan.steps if s.id not in state.main.done][:4]
    voice.prepare([instruction(plan, state, step) for step in owed if step.say])

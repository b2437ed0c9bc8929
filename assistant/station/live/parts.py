"""What a session at a headset works with, live or practice: opened in order of what fails soonest."""

from __future__ import annotations

import time
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from assistant.hearing.listener import Listener
from assistant.hearing.people.profile import Profile
from assistant.procedure.model.plan import Plan
from assistant.procedure.paper.forecast import forecast
from assistant.session.asking.prompts import instruction
from assistant.session.state import State
from assistant.speaking.failure_line import FailureLine
from assistant.speaking.player import Player
from assistant.speaking.voice import VOICES
from assistant.station.live.devices import LiveDevices
from assistant.station.live.level_check import (
    ALARMS_QUESTION,
    HEARD,
    NOT_HEARD,
    Around,
    check_hearing,
    check_without_microphone,
)
from assistant.station.live.own_voice import bars_of
from assistant.station.live.setup import Prepared


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
    profile: str | None = None
    alarms: str | None = None


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
    profile: Profile | None = None,
) -> Parts:
    """Open everything, the cheapest failure first; `stack` closes it. `profile`: of whoever works at the gauntlets.

    Raises SoundDeviceError, ModelError, VoiceError; RefusedError where hearing won't hold or the room's alarms can't be
    heard. After a break nothing is checked or asked again: time counts then, and the keys are offered where hearing fails.
    """
    language = ready.pack.language
    around = _around(ready, chosen, devices) if check_level else Around()
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
        engine = parts.engine = devices.engine(language, chosen.model, chosen.engine)
        stack.callback(engine.close)


        def listener() -> Listener:  # one for the check, one for the session: each has a clock of its own
            return Listener(
                engine, ready.pack, latency_s=getattr(sink, "latency_s", 0.0), closed_headset=chosen.closed_headset,
                bars=bars_of(profile, str(engine.describe().get("engine", ""))),
            )

        if check_level:
            parts.level = check_hearing(
                listener(), source, Player(voice, sink), other_way_in=chosen.with_keys, say=_say,
                load_s=time.monotonic() - begun, around=around, usual_rms=profile.speech_rms if profile else 0.0,
            )
        parts.listener = listener()
    elif check_level:
        parts.level = check_without_microphone(around, _say)
    return parts


def _say(text: str) -> None:
    click.echo(text, err=True)


def _around(ready: Prepared, chosen: LiveChoices, devices: LiveDevices) -> Around:
    """Alarms, as stated or asked; batteries, where they tell, and what they have to last for."""
    alarms = chosen.alarms
    if alarms is None:
        heard = devices.ask(ALARMS_QUESTION)
        alarms = "" if heard is None else HEARD if heard else NOT_HEARD
    held = devices.batteries()
    needed_s = None if held.left_s is None else forecast(ready.plan, dict(chosen.options)).p90_ms / 1000
    return Around(alarms, held, needed_s)


def prepare_lines(voice: Any, plan: Plan, state: State) -> None:
    """Have the next few instructions ready, so that an answer starts at once."""
    owed = [s for s in plan.steps if s.id not in state.main.done][:4]
    voice.prepare([instruction(plan, state, step) for step in owed if step.say])

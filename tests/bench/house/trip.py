"""One word's way through the house, traced: from the sound of "affirmative" to the synced line and the spoken answer.

The segmenter, judge, core, record and player are the real ones; the engine hears what it is told, the voice beeps and the
sink is silent, since neither changes the way.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from pathlib import Path
from types import FrameType
from typing import Any

import numpy as np

import assistant
from assistant.hearing.engines.fake import FakeEngine
from assistant.hearing.listener import Listener
from assistant.hearing.vocabulary.packs import load_pack
from assistant.language import vocabulary as w
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.record.storage.file_store import FileLineStore
from assistant.record.writer import RecordWriter
from assistant.session import inputs
from assistant.session.lookup import step_of
from assistant.session.rules import RULES_VERSION
from assistant.session.words.allowed import listened_for
from assistant.speaking.fake_voice import FakeVoice
from assistant.speaking.player import Player
from assistant.speaking.silent_sink import SilentSink
from assistant.station.loop.ear import heard_input
from assistant.station.loop.keeper import SessionKeeper
from assistant.station.loop.mouth import Mouth

SAID = "affirmative"
_PACKAGE = str(Path(assistant.__file__).parent)
_WALL = "2026-01-05T09:00:00.000+00:00"


class Trace:
    """The product's files that ran, and the types of what carried the word from one call to the next."""

    def __init__(self) -> None:
        self.files: set[str] = set()
        self.forms: set[str] = set()
        self.calls = 0

    def __call__(self, frame: FrameType, event: str, returned: Any) -> None:
        file = frame.f_code.co_filename
        if not file.startswith(_PACKAGE) or event not in ("call", "return"):
            return
        self.files.add(Path(file).relative_to(_PACKAGE).as_posix())
        if event == "call":
            self.calls += 1
            code = frame.f_code
            carried = [frame.f_locals.get(name) for name in code.co_varnames[: code.co_argcount + code.co_kwonlyargcount]]
        else:
            carried = [returned]
        for value in carried:
            form = _form(value)
            if form:
                self.forms.add(form)


def _form(value: Any) -> str:
    """The type's name, where a value carries the word: as a field of its own, a key's value, or in the bytes of a line."""
    if is_dataclass(value) and not isinstance(value, type):
        held = [getattr(value, f.name, None) for f in fields(value)]
        return type(value).__name__ if any(isinstance(v, str) and v in (w.CONFIRM, SAID) for v in held) else ""
    if isinstance(value, dict):
        data = value.get("data") if isinstance(value.get("data"), dict) else value
        return "dict" if any(isinstance(v, str) and v in (w.CONFIRM, SAID) for v in data.values()) else ""
    if isinstance(value, bytes):
        return "bytes" if f'"{w.CONFIRM}"'.encode() in value else ""
    return ""


def trip() -> Trace:
    """Trace one confirmation at the first step of the light clean."""
    plan = compile_plan(load_procedure("gb-2-light-clean"))
    engine, trace = FakeEngine([SAID]), Trace()
    with tempfile.TemporaryDirectory() as folder:
        store = FileLineStore(Path(folder) / "s", new=True)
        writer = RecordWriter(store, kind="script", rules=RULES_VERSION)
        keeper = SessionKeeper(plan, writer, lambda _: _WALL)
        listener = Listener(engine, load_pack("en"))
        mouth = Mouth(Player(FakeVoice(), SilentSink(16_000)), lambda *_: None, lambda _: None)
        _to_a_step(keeper)
        keeper.on_facts(mouth.act)
        listener.set_active(listened_for(plan, keeper.state))
        sound = _sound()

        def hear() -> None:
            for utterance in [*listener.feed(sound), *listener.flush()]:
                assert utterance.accepted and utterance.word == w.CONFIRM, utterance
                keeper.give(heard_input(utterance, keeper.state.now_ms + 60_000), keeper.state.now_ms + 120_000)

        _traced(trace, hear)
        writer.close()
    return trace


def _traced(trace: Trace, run: Callable[[], None]) -> None:
    before = sys.getprofile()
    sys.setprofile(trace)
    try:
        run()
    finally:
        sys.setprofile(before)


def _to_a_step(keeper: SessionKeeper) -> None:
    now = 0
    keeper.give(inputs.Begin("Ada", "script", False), now)
    for _ in range(50):
        if keeper.state.mode == "step":
            return
        now += 10_000
        keeper.give(_value(keeper) if keeper.state.mode == "value" else inputs.Word(w.CONFIRM), now)
    raise RuntimeError("the light clean never came to a step")


def _value(keeper: SessionKeeper) -> inputs.Value:
    step = step_of(keeper.plan, keeper.state)
    assert step is not None
    return inputs.Value({"date": "2031-01-31", "lot": "A1234"}.get(step.value_kind, step.low or step.high or "0"))


def _sound() -> bytes:
    quiet = np.random.default_rng(1).normal(0.0, 4.0, 16_000)
    tone = 8_000 * np.sin(np.arange(16_000) * 2 * np.pi * 300 / 16_000)
    return np.concatenate([quiet, tone + quiet, quiet]).astype("<i2").tobytes()

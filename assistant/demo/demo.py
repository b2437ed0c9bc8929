"""The demo: one whole clean on media time, with a virtual operator whose words are real sound."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from assistant.account.digest import facts_sha256, state_sha256
from assistant.account.tally import Tally, tally
from assistant.errors import StorageError
from assistant.hearing.listener import Listener
from assistant.practice.operator.demo import demo_room
from assistant.record.beside.attached import attach_file
from assistant.record.writer import RecordWriter, create_record
from assistant.session import inputs
from assistant.session.facts.base import Fact
from assistant.session.rules import RULES_VERSION
from assistant.session.state import State
from assistant.speaking.failure_line import FailureLine
from assistant.speaking.open_voice import open_voice
from assistant.speaking.player import Player
from assistant.speaking.soundtrack import TECHNICIAN, Soundtrack
from assistant.speaking.voice import VOICES
from assistant.speaking.wav_sink import WavSink
from assistant.station.account.header import header
from assistant.station.account.prove import prove
from assistant.station.live.setup import Prepared, listening_engine, prepare, shipped_folder, vocabulary
from assistant.station.loop.clips import clip_keeper, rule_told
from assistant.station.loop.clock import DEMO_EPOCH, media_wall
from assistant.station.loop.echo import EchoPath
from assistant.station.loop.folders import new_id, records_folder, stamp_now
from assistant.station.loop.keeper import SessionKeeper
from assistant.station.loop.media_loop import MediaLoop, Room
from assistant.station.loop.mouth import Mouth
from assistant.station.loop.screen import LiveScreen, PlainScreen
from assistant.station.loop.site_copy import copy_site

SOUND = "session.wav"
LANGUAGE_NAMES = {"en": "English", "ko": "Korean"}


@dataclass(frozen=True, slots=True)
class DemoResult:
    """What one demo came to. `replayed`: the record folds to the same end state and its chain holds."""

    record: Path
    sound: Path
    engine: dict[str, Any]
    tally: Tally
    simulated_s: float
    taken_s: float
    replayed: bool
    problems: tuple[str, ...]
    facts_sha256: str
    skipped: tuple[str, ...]
    experimental: str = ""  # what of it isn't to be relied on, in words

    def as_json(self) -> dict[str, Any]:
        """The object of `demo --json`."""
        t = self.tally
        return {
            "engine": self.engine, "simulated_s": round(self.simulated_s, 3), "taken_s": round(self.taken_s, 3),
            "steps_done": t.steps_done, "heard": t.heard, "refused": t.refused, "waits": t.waits,
            "deviations": t.deviations, "replayed": self.replayed, "facts_sha256": self.facts_sha256,
            "record": str(self.record), "sound": str(self.sound), "skipped": list(self.skipped),
            "verdict": t.verdict, "rewets": t.rewets, "corrections": t.corrections,
            "waited_s": round(t.waited_ms / 1000, 3), "experimental": self.experimental,
        }


def run_media_session(
    ready: Prepared, room: Room, *, kind: str, technician: str, records: Path | None, screen: PlainScreen | LiveScreen,
    model: Path | str | None = None, engine_name: str | None = None, echo_db: float | None = None,
    options: tuple[tuple[str, bool], ...] = (), closed_headset: bool = False, longest_ms: int = 3 * 3600 * 1000,
    stamp: str | None = None, session_id: str | None = None, extra: dict[str, Any] | None = None,
    on_facts: Callable[..., None] | None = None, keys: Callable[[int], Iterable[inputs.Input]] | None = None,
) -> DemoResult:
    """Run one session on media time and prove its record.

    `kind`: demo or practice. `echo_db`: the assistant's own voice leaks into the microphone at that level.
    `keys`: see `MediaLoop`.
    Raises ModelError, VoiceError, StorageError and what the record raises.
    """
    begun = time.perf_counter()
    language, experimental = ready.plan.language, experimental_text(ready)
    engine = listening_engine(language, model, engine_name)
    listener = Listener(engine, ready.pack, latency_s=0.0, closed_headset=closed_headset)
    voice = open_voice(VOICES[language])
    wall = media_wall(DEMO_EPOCH)
    try:
        writer = create_record(
            records_folder(records), header(
                ready.plan, technician=technician, engine=engine.describe(), voice=voice.describe(),
                sink={"sink": "wav", "file": SOUND}, source={"source": "virtual operator"}, clock="audio samples",
                vocabulary=vocabulary(ready.pack), extra={
                    "today": ready.plan.today, **rule_told(records_folder(records)),
                    **({"experimental": experimental} if experimental else {}), **(extra or {}),
                },
            ),
            kind, enclosure=ready.plan.enclosure, stamp=stamp or stamp_now(), session_id=session_id or new_id(),
            rules=RULES_VERSION, wall=wall(0), owner=technician,
        )
        copy_site(ready.loaded, writer.folder)
        sound = writer.folder / SOUND
        line = Soundtrack(sound)
        sink = WavSink(line)
        failure = FailureLine(voice)
        keeper = SessionKeeper(ready.plan, writer, wall)
        all_facts: list[Fact] = []
        keeper.on_facts(lambda facts, now: all_facts.extend(facts))
        keeper.on_facts(lambda facts, now: screen.facts(keeper.state, facts, now))
        if on_facts:
            keeper.on_facts(lambda facts, now: on_facts(keeper.state, facts, now))
        path = EchoPath(sink, echo_db) if echo_db is not None else None
        mouth = Mouth(Player(voice, path or sink), listener.mute, listener.gate.cut)

        def advance(ms: int) -> None:
            sink.advance_to(ms / 1000)
            screen.tick(keeper.state, ms)

        loop = MediaLoop(
            keeper, listener, mouth, room, advance,
            keep_mic=lambda samples, start: line.place(samples, start / 1000, TECHNICIAN),
            echo=path.block if path else None, keep_clip=clip_keeper(writer.folder), keys=keys,
            longest_ms=longest_ms,
        )
        try:
            loop.run(inputs.Begin(technician, kind, True, False, options))
            line.close()  # before the seal, which is to cover the sound as well
            _close_record(writer, keeper.state, all_facts, wall)
        except StorageError:
            if not line.closed:
                failure.play(sink)
                sink.advance_to(sink.now_s() + failure.clip.duration_s + 2.0)
            raise
        finally:
            writer.close()
            line.close()
    finally:
        listener.close()
        voice.close()
    problems = prove(writer.folder, facts_sha256(all_facts), state_sha256(keeper.state))
    return DemoResult(
        writer.folder, sound, engine.describe(), tally(all_facts), sink.now_s(), time.perf_counter() - begun,
        not problems, tuple(problems), facts_sha256(all_facts), _skipped(engine.describe(), language), experimental,
    )


def _close_record(writer: RecordWriter, state: State, facts: list[Fact], wall: Callable[[int], str]) -> None:
    at_ms, stamp = state.now_ms, wall(state.now_ms)
    attach_file(writer, SOUND, "the session as it sounded, the assistant left", t_ms=at_ms, wall=stamp)
    writer.seal(
        at_ms, stamp, verdict=state.verdict or "open", left_open=tally(facts).left_open, state_sha256=state_sha256(state),
    )


def _skipped(engine: dict[str, Any], language: str) -> tuple[str, ...]:
    if "vosk" not in str(engine.get("engine", "")).lower() and language == "en":
        return ("the Vosk engine: no English Vosk model is installed here (assistant model install)",)
    if language != "en":
        return (f"{LANGUAGE_NAMES.get(language, language)} numbers by voice: typed at the keys",)
    return ()


def experimental_text(ready: Prepared) -> str:
    """What to say of a language that isn't to be relied on yet; "" for one that is."""
    if not ready.pack.experimental:
        return ""
    name = LANGUAGE_NAMES.get(ready.pack.language, ready.pack.language)
    return f"{name} is experimental: tried with synthetic voices only, not for live work."


def run_demo(
    *, records: Path | None, language: str, engine: str | None, model: Path | str | None, echo_db: float | None,
    snr_db: float, seed: int, open_screen: Callable[..., PlainScreen | LiveScreen], words: dict[str, str] | None = None,
    procedure: str = "gb-2-light-clean", longest_ms: int = 3 * 3600 * 1000,
) -> DemoResult:
    """The light clean between two preparations with the demo's technician. `words`: command id -> what that
    technician says for it (a test swaps two). Raises as `run_media_session`."""
    ready = prepare(procedure, folder=shipped_folder(), language=language, today=DEMO_EPOCH.date().isoformat())
    english = None
    if language != "en":
        english = prepare(procedure, folder=shipped_folder(), today=ready.plan.today).plan
    room = demo_room(ready.plan, seed, words=words, snr_db=snr_db, english=english)
    unsure = experimental_text(ready)
    screen = open_screen(
        ready.plan, f"Demo{' (experimental)' if unsure else ''}: {ready.plan.title}, {ready.plan.site}"
    )
    with screen:
        if unsure:
            screen.notice(unsure)
        return run_media_session(
            ready, room, kind="demo", technician="Virtual technician", records=records, screen=screen, model=model,
            engine_name=engine, echo_db=echo_db, longest_ms=longest_ms, keys=room.keys,
            extra={"demo": {"seed": seed, "snr_db": round(snr_db, 2), "echo_db": echo_db if echo_db is not None else "none"}},
        )

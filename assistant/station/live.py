"""A live session: approval, devices, level, an open session found, then the loop, then the seal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from assistant.errors import RefusedError, StorageError, UsageError
from assistant.hearing.listener import Listener
from assistant.procedure.plan import Plan
from assistant.record.board_box import BoardBox
from assistant.record.reader import read_record
from assistant.record.recover import recover
from assistant.record.store import SlowStorageError
from assistant.record.writer import RecordWriter, create_record
from assistant.session import initial, inputs
from assistant.session.rules import RULES_VERSION
from assistant.session.prompts import instruction
from assistant.session.state import State
from assistant.speaking.failure_line import FailureLine
from assistant.speaking.open_voice import open_voice
from assistant.speaking.player import Player
from assistant.station.approval import approval_of
from assistant.station.clips import clip_keeper
from assistant.station.clock import LiveClock
from assistant.station.digest import state_sha256
from assistant.station.folders import new_id, records_folder, stamp_now
from assistant.station.header import header
from assistant.station.keeper import SessionKeeper
from assistant.station.keys import TerminalKeys, key_help
from assistant.station.live_loop import LiveLoop
from assistant.station.mouth import Mouth
from assistant.station.opening import load_session
from assistant.station.screen import open_screen
from assistant.station.setup import VOICES, Prepared, listening_engine, prepare, vocabulary
from assistant.station.site_copy import copy_site
from assistant.station.tally import tally


@dataclass(slots=True)
class _Taken:
    """A record to write into: new, or an open one gone on with."""

    writer: RecordWriter
    state: State
    begin: inputs.Input
    first_ms: int


def run_live(
    procedure: str, *, technician: str | None, records: Path | None, folder: Path | None, microphone: str | None,
    headset: str | None, with_keys: bool, no_voice_in: bool, language: str, engine: str | None, model: str | None,
    options: tuple[tuple[str, bool], ...], brief: bool, closed_headset: bool, plain: bool,
) -> int:
    """Run live to the end. Returns the exit code: 0 complete, 11 anything else.

    Raises SiteFileError, RefusedError (not approved), SoundDeviceError, ModelError, VoiceError, StorageError,
    RecordError.
    """
    today = datetime.now().date().isoformat()
    ready = prepare(procedure, folder=folder, language=language, today=today)
    root = records_folder(records)
    approval = approval_of(ready.loaded, root)
    if not approval:
        raise RefusedError(
            f"{ready.plan.title}, revision {ready.plan.revision}, isn't approved as it stands.",
            try_next=f"assistant approve {procedure}; or practise: assistant practice {procedure}",
        )
    person = technician or click.prompt("Who works at the gauntlets")
    if no_voice_in and not with_keys:
        raise UsageError("Without a microphone there must be keys.", try_next="add --keys")
    sink = _sink(headset)
    voice = open_voice(VOICES[language])
    source = listener = speech = None
    try:
        if not no_voice_in:
            source, speech = _microphone(microphone), listening_engine(language, model, engine)
            listener = Listener(speech, ready.pack, latency_s=sink.latency_s, closed_headset=closed_headset)
        failure = FailureLine(voice)
        taken = _open_session(ready.plan, root, person, brief, options) or _new(
            ready, root, person, brief, options, approval=approval,
            parts={
                "engine": speech.describe() if speech else {"engine": "none: keys only"}, "voice": voice.describe(),
                "sink": sink.describe(), "source": source.describe() if source else {"source": "keys"},
            },
        )
        _prepare_lines(voice, ready.plan, taken.state)
        return _work(
            ready, taken, sink=sink, voice=voice, failure=failure, listener=listener, source=source,
            with_keys=with_keys, plain=plain, person=person,
        )
    finally:
        for part in (source, listener, voice, sink):
            if part is not None:
                part.close()


def _work(
    ready: Prepared, taken: _Taken, *, sink: Any, voice: Any, failure: FailureLine, listener: Listener | None, source: Any,
    with_keys: bool, plain: bool, person: str,
) -> int:
    clock = LiveClock(first_ms=taken.first_ms)
    keeper = SessionKeeper(ready.plan, _Watched(taken.writer, failure, sink), clock.wall, taken.state)
    keys = TerminalKeys() if with_keys else None
    loop_box: list[LiveLoop] = []
    mouth = Mouth(
        Player(voice, sink), lambda a, b, t: loop_box[0].mute(a, b, t), lambda t: loop_box[0].unmute(t), -clock.zero_s,
    )
    screen = open_screen(ready.plan, f"{ready.plan.title} - {ready.plan.enclosure_name} - {person}", plain=plain)
    facts: list = []
    keeper.on_facts(lambda new, now: facts.extend(new))
    keeper.on_facts(lambda new, now: screen.facts(keeper.state, new, now))
    keeper.on_facts(lambda new, now: _prepare_lines(voice, ready.plan, keeper.state))
    loop = LiveLoop(
        keeper, clock, mouth, listener=listener, source=source, keys=keys,
        board=_board(taken.writer.folder), keep_clip=clip_keeper(taken.writer.folder),
        on_tick=lambda now: screen.tick(keeper.state, now),
    )
    loop_box.append(loop)
    try:
        if keys:
            click.echo("Keys:\n" + key_help(), err=True)
        with screen:
            loop.run(taken.begin)
        state = keeper.state
        taken.writer.seal(
            state.now_ms, clock.wall(), verdict=state.verdict, left_open=tally(facts).left_open,
            state_sha256=state_sha256(state),
        )
    except StorageError:
        handle = failure.play(sink)
        clock.sleep(max(0.0, handle.end_s - sink.now_s()))
        raise
    finally:
        if keys:
            keys.close()
        taken.writer.close()
    counted = tally(facts)
    click.echo(
        f"\n  Verdict: {state.verdict}. {counted.steps_done} steps confirmed, {counted.deviations} deviations.\n"
        f"  Record: {taken.writer.folder}\n  Next: assistant review, or assistant export {taken.writer.folder}"
    )
    return 0 if state.verdict == "complete" else 11


class _Watched:
    """A writer that answers a disk taking over a second with the failure line; the facts are written all the same."""

    def __init__(self, writer: RecordWriter, failure: FailureLine, sink: Any) -> None:
        self._writer = writer
        self._failure = failure
        self._sink = sink

    def append(self, facts: list[dict[str, Any]], t_ms: int, wall: str) -> Any:
        try:
            return self._writer.append(facts, t_ms, wall)
        except SlowStorageError as slow:
            self._failure.play(self._sink)
            return slow.refs


def _sink(headset: str | None) -> Any:
    from assistant.speaking.headset_sink import HeadsetSink

    return HeadsetSink(_device(headset))


def _microphone(name: str | None) -> Any:
    from assistant.hearing.headset import HeadsetSource

    return HeadsetSource(_device(name))


def _device(text: str | None) -> int | str | None:
    return int(text) if text is not None and text.isdigit() else text


def _prepare_lines(voice: Any, plan: Plan, state: State) -> None:
    """Have the next few instructions ready, so that an answer starts at once."""
    owed = [s for s in plan.steps if s.id not in state.main.done][:4]
    voice.prepare([instruction(plan, state, step) for step in owed if step.say])


def _new(
    ready: Prepared, root: Path, person: str, brief: bool, options: tuple[tuple[str, bool], ...], *, approval: str,
    parts: dict[str, Any],
) -> _Taken:
    clock = LiveClock()
    writer = create_record(
        root, header(
            ready.plan, technician=person, clock="monotonic", vocabulary=vocabulary(ready.pack), approval=approval,
            extra={"today": ready.plan.today}, **parts,
        ),
        "live", enclosure=ready.plan.enclosure, stamp=stamp_now(), session_id=new_id(), rules=RULES_VERSION,
        wall=clock.wall(), owner=person,
    )
    copy_site(ready.loaded, writer.folder)
    return _Taken(writer, initial(ready.plan), inputs.Begin(person, "live", True, brief, options), 0)


def _open_session(
    plan: Plan, root: Path, person: str, brief: bool, options: tuple[tuple[str, bool], ...],
) -> _Taken | None:
    """The newest live session on this enclosure that was never closed, gone on with; None when there is none."""
    folder = newest_open(root, plan)
    if folder is None:
        return None
    opened = load_session(folder)
    state = opened.state()
    wall = LiveClock().wall()
    last = opened.record.lines[-1]
    gone_ms = max(0, round((datetime.fromisoformat(wall) - datetime.fromisoformat(last.wall)).total_seconds() * 1000))
    writer = recover(folder, wall=wall, owner=person, why="the assistant was started again")
    click.echo(
        f"An open session was found: {plan.title}, {len(opened.facts)} facts. Nobody watched for {gone_ms // 1000} s.",
        err=True,
    )
    first = last.t_ms + gone_ms
    if state.mode == "idle":
        return _Taken(writer, state, inputs.Begin(person, "live", True, brief, options), first)
    return _Taken(writer, state, inputs.Recover(gone_ms, "crash"), first)


def newest_open(root: Path, plan: Plan) -> Path | None:
    """The newest unsealed live record of this enclosure and procedure, or None."""
    for folder in sorted((root / plan.enclosure).glob("*/"), reverse=True):
        if not (folder / "record.jsonl").is_file():
            continue
        record = read_record(folder)
        if record.lines and record.kind == "live" and record.seal is None:
            if record.header.get("procedure", {}).get("sha256") == plan.sha256:
                return folder
    return None


def _board(folder: Path) -> Callable[[], inputs.Input | None]:
    """Statements from the board as inputs: a witness's, or the sign-in of somebody who takes over."""
    box = BoardBox(folder)

    def take() -> inputs.Input | None:
        found = box.take() or {}
        person = found.get("person", "")[:200]
        if found.get("input") == "witness":
            return inputs.Witness(person, found.get("statement", "")[:1000])
        return inputs.SignIn(person) if found.get("input") == "sign_in" and person else None

    return take

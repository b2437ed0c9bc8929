"""A live session: an open one found, approval, devices, level, then the loop, then the seal."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from assistant.account.digest import state_sha256
from assistant.account.plans import told_first
from assistant.account.tally import tally
from assistant.errors import EXIT_NOT_COMPLETE, RefusedError, StorageError, UsageError
from assistant.hearing.vocabulary.packs import load_pack
from assistant.record.reader import read_record
from assistant.record.storage.paths import root_of_session
from assistant.record.writer import RecordWriter, create_record
from assistant.session import initial, inputs
from assistant.session.facts.base import Fact
from assistant.session.rules import RULES_VERSION
from assistant.session.state import State
from assistant.speaking.player import Player
from assistant.station.account.header import header
from assistant.station.account.overdue import overdue_lines
from assistant.station.live.approval import approval_file, approval_of, keep_approval, named
from assistant.station.live.board import board
from assistant.station.live.devices import REAL, LiveDevices
from assistant.station.live.disk_watch import DiskWatch
from assistant.station.live.keys import key_help
from assistant.station.live.loop import LiveLoop
from assistant.station.live.own_voice import as_said_by, profile_of
from assistant.station.live.parts import LiveChoices, Parts, open_parts, prepare_lines
from assistant.station.live.setup import Prepared, known_options, prepare, vocabulary
from assistant.station.loop.clips import clear_old_clips, clip_keeper, rule_told
from assistant.station.loop.folders import new_id, records_folder, stamp_now
from assistant.station.loop.keeper import SessionKeeper
from assistant.station.loop.mouth import Mouth
from assistant.station.loop.recovering import TakenUp, find_open, take_up
from assistant.station.loop.screen import open_screen
from assistant.station.loop.site_copy import copy_site


@dataclass(slots=True)
class _Started:
    """A record to write into, new or gone on with, and what the core is given first at a moment."""

    writer: RecordWriter
    state: State
    clock: Any
    given: Callable[[int], list[inputs.Input]]


def run_live(procedure: str, chosen: LiveChoices, devices: LiveDevices = REAL) -> int:
    """Run live to the end. Returns the exit code: 0 complete, EXIT_NOT_COMPLETE for any other verdict.

    Raises SiteFileError, RefusedError (not approved; hearing won't hold), SoundDeviceError, ModelError, VoiceError,
    StorageError, RecordError.
    """
    if chosen.no_voice_in and not chosen.with_keys:
        raise UsageError("Without a microphone there must be keys.", try_next="add --keys")
    ready = prepare(
        procedure, folder=chosen.folder, language=chosen.language, today=datetime.now().date().isoformat(),
    )
    known_options(ready.plan, chosen.options)
    root = records_folder(chosen.records)
    found = find_open(root, ready.plan, say=_say)
    approval = approval_of(ready.loaded, root)
    # A session that was approved when it began may be brought to its end.
    if not approval and (found is None or not read_record(found).header["procedure"].get("approval")):
        raise RefusedError(
            f"{ready.plan.title}, revision {ready.plan.revision}, isn't approved as it stands.",
            try_next=f"assistant approve {procedure}; or practise: assistant practice {procedure}",
        )
    person = chosen.technician or click.prompt("Who works at the gauntlets")
    if found is not None:
        language = str(read_record(found).header.get("language", ready.plan.language))
        ready = replace(ready, pack=load_pack(language))
    own = profile_of(chosen.profile, person, ready.pack.language, _say)
    ready = as_said_by(ready, own, _say)
    with ExitStack() as stack:
        parts = open_parts(ready, chosen, devices, stack, check_level=found is None, profile=own)
        if found is not None:
            taken = _take_up(found, ready, person, devices)
            ready = replace(ready, plan=taken.opened.plan)
            if taken.over:
                _seal(taken.writer, taken.state, taken.first_ms, devices.clock(taken.first_ms).wall(), taken.opened.facts)
                _say("Its verdict had been reached; only the seal was missing. Start again for a new session.")
                return 0 if taken.state.verdict == "complete" else EXIT_NOT_COMPLETE
            started = _gone_on(taken, person, chosen, devices)
        else:
            late = overdue_lines(root, ready.plan.enclosure, datetime.now().date(), chosen.folder)
            ready = replace(ready, plan=told_first(ready.plan, late))
            started = _new(ready, root, person, chosen, devices, approval, parts, late)
        stack.callback(started.writer.close)
        prepare_lines(parts.voice, ready.plan, started.state)
        return _work(ready, started, parts, chosen, devices, person)


def _say(text: str) -> None:
    click.echo(text, err=True)


def _new(
    ready: Prepared, root: Path, person: str, chosen: LiveChoices, devices: LiveDevices, approval: str, parts: Parts,
    late: list[str],
) -> _Started:
    clock, held = devices.clock(0), approval_file(ready.loaded)
    told = header(
        ready.plan, technician=person, clock="monotonic", vocabulary=vocabulary(ready.pack), approval=approval,
        extra={"today": ready.plan.today, "told_first": list(late), **named(held), **rule_told(root)}, level=parts.level,
        voice=parts.voice.describe(), engine=parts.engine.describe() if parts.engine else {"engine": "none: keys only"},
        sink=parts.sink.describe(), source=parts.source.describe() if parts.source else {"source": "keys"},
    )
    writer = create_record(
        root, told, "live", enclosure=ready.plan.enclosure, stamp=stamp_now(), session_id=new_id(), rules=RULES_VERSION,
        wall=clock.wall(), owner=person, files=devices.files,
    )
    try:
        copy_site(ready.loaded, writer.folder)
        keep_approval(held, writer.folder, told, devices.files)
    except BaseException:
        writer.close()
        raise
    begin = inputs.Begin(person, "live", True, chosen.brief, chosen.options)
    return _Started(writer, initial(ready.plan), clock, lambda now: [begin])


def _take_up(found: Path, ready: Prepared, person: str, devices: LiveDevices) -> TakenUp:
    taken = take_up(found, ready.loaded, wall=devices.clock(0).wall(), owner=person, files=devices.files)
    plan = taken.opened.plan
    _say(
        f"An open session was found: {plan.title}, revision {plan.revision}, {len(taken.opened.facts)} facts. "
        f"Nobody watched for {taken.unwatched_ms // 1000} s."
    )
    return taken


def _gone_on(taken: TakenUp, person: str, chosen: LiveChoices, devices: LiveDevices) -> _Started:
    begin = inputs.Begin(person, "live", True, chosen.brief, chosen.options)

    def given(now_ms: int) -> list[inputs.Input]:
        first = taken.given(begin, now_ms)
        return [first] if first is begin else [first, inputs.SignIn(person)]  # the same person again is no sign-in

    return _Started(taken.writer, taken.state, devices.clock(taken.first_ms), given)


def _work(
    ready: Prepared, started: _Started, parts: Parts, chosen: LiveChoices, devices: LiveDevices, person: str,
) -> int:
    clock, writer, sink = started.clock, started.writer, parts.sink
    watch = DiskWatch(writer, lambda: parts.failure.play(sink))
    keeper = SessionKeeper(ready.plan, watch, clock.wall, started.state)
    loop_box: list[LiveLoop] = []
    mouth = Mouth(
        Player(parts.voice, sink), lambda a, b, t: loop_box[0].mute(a, b, t), lambda t: loop_box[0].unmute(t),
        -clock.zero_s,
    )
    screen = open_screen(ready.plan, f"{ready.plan.title}, {ready.plan.enclosure_name}, {person}", plain=chosen.plain)
    facts: list[Fact] = []
    keeper.on_facts(lambda new, now: facts.extend(new))
    keeper.on_facts(lambda new, now: screen.facts(keeper.state, new, now))
    keeper.on_facts(lambda new, now: prepare_lines(parts.voice, ready.plan, keeper.state))
    keys = devices.keys() if chosen.with_keys else None
    loop = LiveLoop(
        keeper, clock, mouth, listener=parts.listener, source=parts.source, keys=keys, board=board(writer.folder, lambda: keeper.state, clock),
        keep_clip=clip_keeper(writer.folder), headset_lost=getattr(sink, "lost", None),
        on_tick=lambda now: screen.tick(keeper.state, now),
    )
    loop_box.append(loop)
    try:
        if keys is not None:
            _say("Keys:\n" + key_help())
        with screen:
            loop.run(*started.given(clock.now_ms()))
        _seal(watch, keeper.state, max(keeper.state.now_ms, writer.t_ms), clock.wall(), facts)
    except StorageError:
        handle = parts.failure.play(sink)
        clock.sleep(max(0.0, handle.end_s - sink.now_s()))
        raise
    finally:
        watch.close()
        if keys is not None:
            keys.close()
    if problem := clear_old_clips(root_of_session(writer.folder)):
        _say(problem)
    counted = tally(facts)
    click.echo(
        f"\n  Verdict: {keeper.state.verdict}. {counted.steps_done} steps confirmed, {counted.deviations} deviations.\n"
        f"  Record: {writer.folder}\n  Next: assistant review, or assistant export {writer.folder}"
    )
    return 0 if keeper.state.verdict == "complete" else EXIT_NOT_COMPLETE


def _seal(writer: Any, state: State, at_ms: int, wall: str, facts: Any) -> None:
    writer.seal(
        at_ms, wall, verdict=state.verdict, left_open=tally(facts).left_open, state_sha256=state_sha256(state),
    )

"""Whole stores of seeded sessions: thousands, one of eight hours, one of a minute."""

from __future__ import annotations

import os
import random
import wave
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from assistant.record.writer import create_record
from assistant.session.facts.base import Fact
from assistant.session.facts.lines import LineEnded
from assistant.session.inputs import Begin
from assistant.session.rules import RULES_VERSION
from assistant.session.wire import to_wire
from tests.bench.review.generator import (
    EPOCH,
    PEOPLE,
    SOUND_RATE_HZ,
    Recorder,
    Site,
    UnsyncedFiles,
    copy_site,
    demo_site,
    header,
    stamp_of,
    wall_of,
    write_sound,
)
from tests.bench.review.operator import Manner, Operator


def make_store(
    root: Path,
    count: int,
    seed: int = 1,
    *,
    newest: datetime = EPOCH,
    sound_for: int = 0,
    quick: bool = False,
    told: Callable[[int], None] | None = None,
) -> list[Path]:
    """`count` sealed sessions, the last ending before `newest`, about three a day; folders, oldest first.

    `sound_for`: how many of the latest get sound and clips. `quick`: nothing synced, site files hard-linked,
    no
    witness log; the facts then come from a pool of 120 different sessions written anew under other names and
    times.
    """
    chance = random.Random(seed)
    site = demo_site()
    folders: list[Path] = []
    if quick:
        return _quick_store(root, count, chance, site, newest, told)
    moment = newest - timedelta(hours=8) * count
    for number in range(count):
        moment += timedelta(hours=8) * chance.uniform(0.8, 1.2)
        manner = Manner(person=chance.choice(PEOPLE), slow=chance.uniform(0.8, 1.3))
        sound = count - number <= sound_for
        recorder = Recorder(root, site, seed * 100_000 + number, manner, moment, clips=sound)
        folders.append(recorder.finish(4 * 3600_000))
        if sound:
            write_sound(recorder.folder, recorder.facts, recorder.writer.t_ms)
        if told:
            told(number + 1)
    return folders


class _Short(Operator):
    """Answers every question at the start with no, so that the shortest form of the clean is run."""

    def begin(self) -> None:
        self._give(
            Begin(self.manner.person, self.kind, True, True, tuple((o.id, False) for o in self.plan.options))
        )


def _quick_store(
    root: Path,
    count: int,
    chance: random.Random,
    site: Site,
    newest: datetime,
    told: Callable[[int], None] | None,
) -> list[Path]:
    pool: list[tuple[list[tuple[list[dict[str, Any]], int]], str]] = []
    for number in range(min(count, 120)):
        decisions: list[tuple[list[dict[str, Any]], int]] = []

        def keep(facts: tuple[Fact, ...], now_ms: int, into: list = decisions) -> None:
            into.append(([to_wire(f) for f in facts if not isinstance(f, LineEnded)], now_ms))

        state = _Short(site.plan, number, Manner(mishears=0.04, asks=0.04), keep).run(4 * 3600_000)
        pool.append((decisions, state.verdict or "left"))
    folders: list[Path] = []
    files = UnsyncedFiles()
    moment = newest - timedelta(hours=8) * count
    for number in range(count):
        moment += timedelta(hours=8) * chance.uniform(0.8, 1.2)
        person = chance.choice(PEOPLE)
        decisions, verdict = pool[number % len(pool)]
        writer = create_record(
            root,
            header(site.plan, person),
            "live",
            enclosure=site.plan.enclosure,
            stamp=stamp_of(moment),
            session_id=f"q{number}",
            rules=RULES_VERSION,
            wall=wall_of(moment),
            files=files,
            witness=False,
        )
        assert writer.folder
        with writer:
            for facts, now_ms in decisions:
                named = [_renamed(fact, person) for fact in facts]
                writer.append(named, now_ms, wall_of(moment + timedelta(milliseconds=now_ms)))
            writer.seal(writer.t_ms, wall_of(moment + timedelta(milliseconds=writer.t_ms)), verdict=verdict)
        copy_site(site.loaded, writer.folder, link_from=folders[0] if folders else None)
        folders.append(writer.folder)
        if told:
            told(number + 1)
    return folders


def _renamed(fact: dict[str, Any], person: str) -> dict[str, Any]:
    if "person" in fact["data"] and fact["kind"] != "witness_given":
        return {**fact, "data": {**fact["data"], "person": person}}
    return fact


def long_session(root: Path, hours: float = 8.0, started: datetime = EPOCH, seed: int = 5) -> Path:
    """One session of about so many hours, with many pauses, re-wets and words; sealed, with sparse silent
    sound."""
    until = int(hours * 3600_000)
    manner = Manner(until_ms=until, idle_ms=800_000, mishears=0.8, asks=0.7, corrects=0.03, slow=1.6)
    recorder = Recorder(
        root,
        demo_site(),
        seed,
        replace(manner, person=PEOPLE[0]),
        started,
        session_id="long",
        files=UnsyncedFiles(),
    )
    folder = recorder.finish(until + 3 * 3600_000)
    path = folder / "session.wav"
    size = recorder.writer.t_ms * SOUND_RATE_HZ // 1000 * 2
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(SOUND_RATE_HZ)
        out.setnframes(size // 2)
        out.writeframes(b"")
    _stretch(path, size)
    return folder


def _stretch(path: Path, size: int) -> None:
    """A WAV header that promises `size` bytes of silence, and a sparse file that holds them."""
    head = bytearray(path.read_bytes()[:44])
    head[4:8] = (36 + size).to_bytes(4, "little")
    head[40:44] = size.to_bytes(4, "little")
    path.write_bytes(head)
    os.truncate(path, 44 + size)


def minute_session(root: Path, started: datetime = EPOCH, seed: int = 9) -> Path:
    """One session that was left after a minute; sealed without a verdict of its own."""
    recorder = Recorder(
        root, demo_site(), seed, Manner(person=PEOPLE[1]), started, session_id="minute", files=UnsyncedFiles()
    )
    return recorder.finish(60_000)

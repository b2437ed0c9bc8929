"""Seeded records for figures, tests and a look at the pages: real facts from the core, written by the record
room.

Names, times and mishaps are drawn from one random generator, so that the same seed gives the same store.
"""

from __future__ import annotations

import os
import random
import shutil
import wave
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np

from assistant.procedure.compile import compile_plan
from assistant.procedure.load import Loaded, load_procedure
from assistant.procedure.plan import Plan
from assistant.record.clips import ClipPolicy, ClipStore
from assistant.record.files import OsFiles
from assistant.record.writer import RecordWriter, create_record
from assistant.review.measure.operator import COLLEAGUES, Manner, Operator
from assistant.review.sessions import SITE_FOLDER
from assistant.session.facts.base import Fact
from assistant.session.facts.lines import Heard, LineEnded
from assistant.session.inputs import Begin
from assistant.session.rules import RULES_VERSION
from assistant.session.wire import to_wire

PEOPLE = COLLEAGUES
EPOCH = datetime(2026, 3, 2, 7, 40, tzinfo=timezone(timedelta(hours=1)))
SOUND_RATE_HZ = 8_000


class UnsyncedFiles(OsFiles):
    """For thousands of records at once: nothing is synced. Never for anything that must last."""

    def sync(self, fd: int) -> None:
        """Left out."""

    def sync_folder(self, path: Path) -> None:
        """Left out."""


@dataclass(frozen=True)
class Site:
    """A loaded procedure and its plan."""

    loaded: Loaded
    plan: Plan


def demo_site(name: str = "gb-2-light-clean", folder: Path | None = None) -> Site:
    """The shipped procedure of that name."""
    loaded = load_procedure(name, folder)
    return Site(loaded, compile_plan(loaded))


def copy_site(loaded: Loaded, session: Path, *, link_from: Path | None = None) -> None:
    """The site's files beside the record; hard links to an earlier copy where one is given (mass stores)."""
    root = loaded.site.folder.resolve()
    for path in loaded.site.trees:
        part = path.resolve().relative_to(root)
        place = session / SITE_FOLDER / part
        place.parent.mkdir(parents=True, exist_ok=True)
        if link_from is not None:
            os.link(link_from / SITE_FOLDER / part, place)
        else:
            shutil.copyfile(path, place)


def header(plan: Plan, person: str, **more: Any) -> dict[str, Any]:
    """The opening line's data, in the station's form."""
    return {
        "technician": person,
        "site": plan.site,
        "enclosure": {"id": plan.enclosure, "name": plan.enclosure_name},
        "procedure": {
            "id": plan.procedure,
            "title": plan.title,
            "revision": plan.revision,
            "sha256": plan.sha256,
            "purpose": plan.purpose,
            "approval": "R. Vane, 1 March 2026",
        },
        "files": [{"file": name, "sha256": digest} for name, digest in plan.files],
        "language": plan.language,
        "software": {"name": "gauntlet", "version": "seeded", "rules": RULES_VERSION},
        "engine": {"name": "made-up words"},
        "voice": {"name": "none"},
        "clock": "seeded",
        "vocabulary": {},
        **more,
    }


def stamp_of(moment: datetime) -> str:
    """The folder's stamp: UTC."""
    return moment.astimezone(timezone.utc).strftime("%Y%m%dT%H%M%SZ")


def wall_of(moment: datetime) -> str:
    """RFC 3339 with milliseconds and offset."""
    return moment.isoformat(timespec="milliseconds")


class Recorder:
    """One seeded session written as it is decided. `after`: called after each decision; `clips`: keep
    clips."""

    def __init__(
        self,
        root: Path,
        site: Site,
        seed: int,
        manner: Manner,
        started: datetime,
        *,
        kind: str = "live",
        session_id: str = "",
        files: OsFiles | None = None,
        witness: bool = True,
        link_from: Path | None = None,
        more: dict[str, Any] | None = None,
        after: Callable[[], None] | None = None,
        clips: bool = False,
    ) -> None:
        self.site, self.started, self._after = site, started, after
        self.facts: list[Fact] = []
        plan = site.plan
        self.writer: RecordWriter = create_record(
            root,
            header(plan, manner.person, **(more or {})),
            kind,
            enclosure=plan.enclosure,
            stamp=stamp_of(started),
            session_id=session_id or f"s{seed}",
            rules=RULES_VERSION,
            wall=wall_of(started),
            files=files,
            witness=witness,
        )
        assert self.writer.folder
        self.folder: Path = self.writer.folder
        copy_site(site.loaded, self.folder, link_from=link_from)
        store = ClipStore(self.folder, ClipPolicy("refused"), files=files)
        keep = (lambda pcm: store.save(pcm, accepted=False)) if clips else None
        self.operator = Operator(plan, seed, manner, self._decided, kind=kind, keep_clip=keep)

    def _decided(self, facts: tuple[Fact, ...], now_ms: int) -> None:
        self.facts.extend(facts)
        self.writer.append([to_wire(f) for f in facts], now_ms, self.wall(now_ms))
        if self._after:
            self._after()

    def wall(self, at_ms: int) -> str:
        """The wall stamp of a session time."""
        return wall_of(self.started + timedelta(milliseconds=at_ms))

    def finish(self, stop_ms: int = 1 << 60) -> Path:
        """Run to the end and seal; the folder."""
        state = self.operator.run(stop_ms)
        self.seal(state.verdict or "left")
        return self.folder

    def seal(self, verdict: str) -> None:
        """Close the record."""
        t_ms = max(self.writer.t_ms, self.operator.now_ms)
        self.writer.seal(t_ms, self.wall(t_ms), verdict=verdict)


def write_sound(folder: Path, facts: Iterable[Fact], end_ms: int) -> Path:
    """session.wav: low tones where the assistant spoke, noise where a word was heard; 8 kHz, 16 bit, mono."""
    length = (end_ms + 500) * SOUND_RATE_HZ // 1000
    sound = np.zeros(length, dtype=np.int16)
    chance = np.random.default_rng(7)
    for fact in facts:
        if isinstance(fact, LineEnded | Heard):
            first, last = (t * SOUND_RATE_HZ // 1000 for t in (fact.started_ms, min(fact.ended_ms, end_ms)))
            if last <= first:
                continue
            if isinstance(fact, LineEnded):
                t = np.arange(last - first) / SOUND_RATE_HZ
                part = 5_000 * np.sin(2 * np.pi * 180 * t) * (0.6 + 0.4 * np.sin(2 * np.pi * 4 * t))
            else:
                part = chance.normal(0, 2_500, last - first)
            sound[first:last] = part.astype(np.int16)
    path = folder / "session.wav"
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(SOUND_RATE_HZ)
        out.writeframes(sound.tobytes())
    return path


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

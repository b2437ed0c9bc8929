"""Seeded records for figures, tests and a look at the pages: real facts from the core, written by the record
room.

Names, times and mishaps are drawn from one random generator, so that the same seed gives the same store.
"""

from __future__ import annotations

import os
import shutil
import wave
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np

from assistant.account.plans import SITE_FOLDER
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import Loaded, load_procedure
from assistant.procedure.model.plan import Plan
from assistant.record.beside.clips import ClipPolicy, ClipStore
from assistant.record.storage.files import OsFiles
from assistant.record.writer import RecordWriter, create_record
from assistant.session.facts.base import Fact
from assistant.session.facts.lines import Heard, LineEnded
from assistant.session.rules import RULES_VERSION
from assistant.session.wire import to_wire
from tests.bench.review.operator import COLLEAGUES, Manner, Operator

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
    return moment.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")


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

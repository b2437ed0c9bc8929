"""Long records to measure with: made-up ones, and ones that the real core has decided."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from assistant.record.storage.files import OsFiles
from assistant.record.writer import create_record

WALL = "2026-03-14T09:15:00.000Z"
STAMP = "20260314T091500Z"


class QuickFiles(OsFiles):
    """Without syncs: only to prepare a record whose reading is measured."""

    def sync(self, fd: int) -> None:
        """Nothing: the record is thrown away after the measurement."""

    def sync_folder(self, path: Path) -> None:
        """Nothing."""


def sample_fact(number: int) -> dict[str, Any]:
    """A fact of the usual size."""
    return {
        "kind": "line_spoken",
        "v": 1,
        "data": {
            "line": number,
            "role": "instruction",
            "about": "ceiling",
            "text": "Wipe the ceiling of the work area.",
        },
    }


def long_record(root: Path, facts: int, session_id: str = "long") -> Path:
    """A sealed record of `facts` made-up facts; its folder."""
    writer = create_record(
        root,
        {"technician": "Bench"},
        "script",
        enclosure="GB-2",
        stamp=STAMP,
        session_id=session_id,
        rules=1,
        wall=WALL,
        files=QuickFiles(),
        witness=False,
    )
    for start in range(0, facts, 4):
        writer.append([sample_fact(n) for n in range(start, min(start + 4, facts))], start * 10, WALL)
    writer.seal(facts * 10, WALL, verdict="bench")
    assert writer.folder
    return writer.folder


def core_record(root: Path, facts: int) -> Path:
    """A sealed record of at least `facts` facts of a real session in which somebody asks again and again what
    is to be done and how long it takes; its folder."""
    from assistant.account.digest import state_sha256
    from assistant.session import inputs
    from assistant.session.rules import RULES_VERSION
    from assistant.station.account.header import header
    from assistant.station.live.setup import prepare, shipped_folder, vocabulary
    from assistant.station.loop.keeper import SessionKeeper
    from assistant.station.loop.site_copy import copy_site

    ready = prepare("gb-2-light-clean", folder=shipped_folder())
    nothing = {"engine": "none"}
    told = header(
        ready.plan,
        technician="Bench",
        engine=nothing,
        voice=nothing,
        sink=nothing,
        source=nothing,
        clock="script",
        vocabulary=vocabulary(ready.pack),
        extra={"today": ready.plan.today},
    )
    writer = create_record(
        root,
        told,
        "script",
        enclosure="GB-2",
        stamp=STAMP,
        session_id="core",
        rules=RULES_VERSION,
        wall=WALL,
        files=QuickFiles(),
        witness=False,
    )
    assert writer.folder
    copy_site(ready.loaded, writer.folder)
    keeper = SessionKeeper(ready.plan, writer, lambda _: WALL)
    keeper.give(inputs.Begin("Bench", "script"), 0)
    now_ms, words = 0, ("repeat", "how_long", "where", "whats_next", "why")
    while keeper.facts_written < facts:
        now_ms += 1000
        while (due := keeper.next_deadline_ms()) is not None and due < now_ms:
            keeper.give(inputs.Tick(), due)
        keeper.give(inputs.Word(words[now_ms // 1000 % len(words)]), now_ms)
        if keeper.over:
            break
    state = keeper.state
    writer.seal(state.now_ms, WALL, verdict=state.verdict or "open", state_sha256=state_sha256(state))
    return writer.folder

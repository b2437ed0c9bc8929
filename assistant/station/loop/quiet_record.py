"""A practice record: of a session at simulated speed, or at a headset. Never of live work."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from assistant.account.digest import facts_sha256, state_sha256
from assistant.account.tally import tally
from assistant.errors import RefusedError
from assistant.procedure.model.plan import Plan
from assistant.record.writer import create_record
from assistant.session import decide
from assistant.session.facts.base import Fact
from assistant.session.inputs import Input
from assistant.session.rules import RULES_VERSION
from assistant.session.state import State
from assistant.session.wire import to_wire
from assistant.station.account.header import header
from assistant.station.account.prove import prove
from assistant.station.live.setup import Prepared, vocabulary
from assistant.station.loop.clock import DEMO_EPOCH, media_wall
from assistant.station.loop.folders import new_id, records_folder, stamp_now
from assistant.station.loop.site_copy import copy_site


class QuietRecord:
    """Writes every decision before it is acted on: use `decide` in place of the core's own.

    `epoch`, `stamp`, `session_id`: given, the same session gives the same bytes. `devices`: engine, voice, sink,
    source, clock and level as the header has them, where there was sound. Raises RefusedError for kind live.
    """

    def __init__(
        self, ready: Prepared, kind: str, person: str, *, records: Path | None = None, source: str = "virtual operator",
        epoch: datetime = DEMO_EPOCH, stamp: str = "", session_id: str = "", extra: dict[str, Any] | None = None,
        devices: dict[str, Any] | None = None, wall: Callable[[int], str] | None = None,
    ) -> None:
        if kind == "live":
            raise RefusedError("Practice is never live work.", try_next="assistant run")
        self.wall = wall or media_wall(epoch)
        self.facts: list[Fact] = []
        nothing = {"engine": "none"}
        self.writer = create_record(
            records_folder(records), header(
                ready.plan, technician=person, vocabulary=vocabulary(ready.pack), **{
                    "engine": nothing, "voice": nothing, "sink": {"sink": "none"}, "source": {"source": source},
                    "clock": "simulated", **(devices or {}),
                }, extra={"today": ready.plan.today, **(extra or {})},
            ),
            kind, enclosure=ready.plan.enclosure, stamp=stamp or stamp_now(), session_id=session_id or new_id(),
            rules=RULES_VERSION, wall=self.wall(0), owner=person,
        )
        copy_site(ready.loaded, self.writer.folder)

    @property
    def folder(self) -> Path:
        return self.writer.folder

    def decide(self, plan: Plan, state: State, given: Input, now_ms: int) -> tuple[Fact, ...]:
        """The core's decision, on disk before it is returned. Raises StorageError."""
        now_ms = max(now_ms, state.now_ms)
        facts = decide(plan, state, given, now_ms)
        if facts:
            self.writer.append([to_wire(fact) for fact in facts], now_ms, self.wall(now_ms))
            self.facts += facts
        return facts

    def close(self, state: State) -> list[str]:
        """Seal it and read it back; what doesn't hold, empty when all does."""
        self.writer.seal(
            state.now_ms, self.wall(state.now_ms), verdict=state.verdict or "open",
            left_open=tally(self.facts).left_open, state_sha256=state_sha256(state),
        )
        self.writer.close()
        return prove(self.folder, facts_sha256(self.facts), state_sha256(state))

    def abandon(self) -> None:
        """Let go of it unsealed."""
        self.writer.close()

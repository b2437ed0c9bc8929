"""Run a script through the core into a record of kind script."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from assistant.account.digest import facts_sha256, state_sha256
from assistant.account.tally import Tally, tally
from assistant.record.writer import create_record
from assistant.session import inputs
from assistant.session.facts.base import Fact
from assistant.session.rules import RULES_VERSION
from assistant.station.account.header import header
from assistant.station.account.prove import prove
from assistant.station.live.setup import Prepared, vocabulary
from assistant.station.loop.clock import DEMO_EPOCH, media_wall
from assistant.station.loop.folders import new_id, records_folder, stamp_now
from assistant.station.loop.keeper import SessionKeeper
from assistant.station.loop.screen import PlainScreen
from assistant.station.loop.site_copy import copy_site


def run_script(
    ready: Prepared, script: list[tuple[int, inputs.Input]], *, person: str, records: Path | None, screen: PlainScreen,
    options: tuple[tuple[str, bool], ...] = (),
) -> tuple[Path, Tally, list[str], str]:
    """Feed every input at its time, deadlines in between at theirs. Without a `begin` line one is made.

    Returns the record's folder, the counts, what doesn't hold (empty when all does), and the verdict.
    """
    wall = media_wall(DEMO_EPOCH)
    nothing = {"engine": "none"}
    writer = create_record(
        records_folder(records), header(
            ready.plan, technician=person, engine=nothing, voice={"engine": "none"}, sink={"sink": "none"},
            source={"source": "script"}, clock="script", vocabulary=vocabulary(ready.pack),
            extra={"today": ready.plan.today},
        ),
        "script", enclosure=ready.plan.enclosure, stamp=stamp_now(), session_id=new_id(), rules=RULES_VERSION,
        wall=wall(0), owner=person,
    )
    facts: list[Fact] = []
    with writer:
        copy_site(ready.loaded, writer.folder)
        keeper = SessionKeeper(ready.plan, writer, wall)
        keeper.on_facts(lambda new, now: facts.extend(new))
        keeper.on_facts(lambda new, now: screen.facts(keeper.state, new, now))
        if not script or not isinstance(script[0][1], inputs.Begin):
            keeper.give(inputs.Begin(person, "script", options=options), 0)
        for at_ms, given in script:
            deadline = keeper.next_deadline_ms()
            while deadline is not None and deadline < at_ms:
                keeper.give(inputs.Tick(), deadline)
                deadline = keeper.next_deadline_ms()
            if isinstance(given, inputs.Begin):
                given = replace(given, kind="script")  # whatever the file claims to be
            keeper.give(given, at_ms)
        state = keeper.state
        counted = tally(facts)
        writer.seal(
            state.now_ms, wall(state.now_ms), verdict=state.verdict or "open", left_open=counted.left_open,
            state_sha256=state_sha256(state),
        )
    problems = prove(writer.folder, facts_sha256(facts), state_sha256(state))
    return writer.folder, counted, problems, state.verdict or "open"

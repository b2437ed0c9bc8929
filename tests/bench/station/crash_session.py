"""The session that is killed: keeper, core and a real record on disk, on a clock that runs many times too fast.

`python -m tests.bench.station.crash_session` is the process that dies. It reads one job, a JSON object, per
line of standard input, and tells in the job's `told` file what it spoke of, each time after the write had returned.
"""

from __future__ import annotations

import json
import os
import random
import sys
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from assistant.account.digest import state_sha256
from assistant.account.plans import dressed
from assistant.account.tally import tally
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import Loaded, load_procedure
from assistant.procedure.model.plan import Plan
from assistant.record.reader import read_record
from assistant.record.storage.store import LineRef
from assistant.record.writer import RecordWriter, create_record
from assistant.session import initial, inputs
from assistant.session.facts.lines import LineSpoken
from assistant.session.rules import RULES_VERSION
from assistant.station.account.header import header
from assistant.station.loop.clock import DEMO_EPOCH
from assistant.station.loop.keeper import SessionKeeper
from assistant.station.loop.recovering import find_open, take_up
from assistant.station.loop.site_copy import copy_site
from tests.bench.station.policy import Policy

KIND = "script"  # no record of a measurement can pass for live work
PERSON = "Crash measurement"
PROCEDURE = "gb-2-light-clean"
_LONGEST_MS = 200 * 3600 * 1000
_MOST_INPUTS = 20_000

Tell = Callable[[str], None]


class _Noting:
    """A writer that remembers where the last facts went, for telling of them once they are spoken."""

    def __init__(self, writer: RecordWriter) -> None:
        self._writer = writer
        self.refs: list[LineRef] = []

    def append(self, facts: list[dict[str, Any]], t_ms: int, wall: str) -> list[LineRef]:
        self.refs = []
        self.refs = self._writer.append(facts, t_ms, wall)
        return self.refs


def plan_for(loaded: Loaded) -> Plan:
    """The plan as the harness runs it: command words as the pack has them aside, for nothing is spoken."""
    return dressed(compile_plan(loaded, "en"), {}, DEMO_EPOCH.date().isoformat())


def run_session(
    root: Path, loaded: Loaded, *, seed: int | str, unwatched_ms: int = 0, calm: bool = False,
    tell: Tell = lambda line: None, pause: Callable[[], None] = lambda: None,
) -> Path:
    """Find the open session and go on with it, or begin one; to the verdict and the seal. Returns its folder.

    `unwatched_ms`: how long after the last line of an open record this start comes. `tell` gets "told SEQ SHA256"
    for each fact and "said NUMBER TEXT" for each line, at the moment the voice would begin.
    """
    plan = plan_for(loaded)
    begin = inputs.Begin(PERSON, KIND, True)
    folder = find_open(root, plan, KIND)
    if folder is None:
        wall = _stamp(DEMO_EPOCH)
        writer = create_record(
            root, header(
                plan, technician=PERSON, engine={"engine": "none"}, voice={"engine": "none"}, sink={"sink": "none"},
                source={"source": "policy"}, clock="fast", vocabulary={}, extra={"today": plan.today},
            ),
            KIND, enclosure=plan.enclosure, stamp=DEMO_EPOCH.strftime("%Y%m%dT%H%M%SZ"), session_id=f"crash-{seed}",
            rules=RULES_VERSION, wall=wall, owner=PERSON,
        )
        copy_site(loaded, writer.folder)
        state, first, given, zero = initial(plan), 0, begin, DEMO_EPOCH
    else:
        last = read_record(folder).lines[-1]
        start = datetime.fromisoformat(last.wall) + timedelta(milliseconds=unwatched_ms)
        taken = take_up(folder, loaded, wall=_stamp(start), owner=PERSON)
        writer, state, plan, first = taken.writer, taken.state, taken.opened.plan, taken.first_ms
        given, zero = taken.given(begin, first), start - timedelta(milliseconds=first)
    noting = _Noting(writer)
    keeper = SessionKeeper(plan, noting, lambda ms: _stamp(zero + timedelta(milliseconds=ms)), state)

    def speak(facts: tuple, now_ms: int) -> None:
        for ref in noting.refs:
            tell(f"told {ref.seq} {ref.sha256}")
        for fact in facts:
            if isinstance(fact, LineSpoken):
                tell(f"said {fact.line} {json.dumps(fact.text)}")

    facts: list = []
    keeper.on_facts(speak)
    keeper.on_facts(lambda new, now: facts.extend(new))
    with writer:
        _carry_on(keeper, Policy(seed, calm=calm), given, first, pause)
        now = max(keeper.state.now_ms, writer.t_ms)
        writer.seal(
            now, _stamp(zero + timedelta(milliseconds=now)), verdict=keeper.state.verdict,
            left_open=tally(facts).left_open, state_sha256=state_sha256(keeper.state),
        )
    return writer.folder


def _carry_on(keeper: SessionKeeper, policy: Policy, given: inputs.Input, first: int, pause: Callable[[], None]) -> None:
    keeper.give(given, first)
    for _ in range(_MOST_INPUTS):
        if keeper.over:
            return
        pause()
        at_ms, given = policy.next(keeper.plan, keeper.state)
        if at_ms > _LONGEST_MS:
            break
        keeper.give(given, at_ms)
    raise RuntimeError(f"the session came to no end: {keeper.state.mode}, step {keeper.state.current}")


def _stamp(moment: datetime) -> str:
    return moment.isoformat(timespec="milliseconds")


def do_job(job: dict[str, Any], loaded: Loaded) -> None:
    """One killable session. Every line told is in the file before anything else happens, whatever kills us then."""
    nap = random.Random(f"nap:{job['seed']}")
    told = os.open(job["told"], os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    try:
        run_session(
            Path(job["root"]), loaded, seed=job["seed"], unwatched_ms=job["unwatched_ms"],
            tell=lambda line: os.write(told, line.encode() + b"\n"), pause=lambda: time.sleep(nap.random() * 0.004),
        )
    except Exception as error:  # whatever it is, the harness must see it
        os.write(told, f"failed {type(error).__name__}: {error}".replace("\n", " ").encode() + b"\n")


def main() -> None:
    """Jobs from standard input, each in a copy of this process where the system can copy one."""
    loaded = load_procedure(PROCEDURE)
    plan_for(loaded)
    for line in sys.stdin:
        job = json.loads(line)
        if not hasattr(os, "fork"):
            do_job(job, loaded)
            return
        child = os.fork()
        if child == 0:
            try:
                do_job(job, loaded)
            finally:
                os._exit(0)
        print(f"pid {child}", flush=True)
        _, how = os.waitpid(child, 0)
        print("ended", "killed" if os.WIFSIGNALED(how) else "itself", flush=True)


if __name__ == "__main__":
    main()

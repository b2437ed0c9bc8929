"""`assistant measure timers`: fifty contacts at once, from each deadline to its fact on disk, once per clock.

`monotonic`: the live loop on the operating system's clock, while two other processes keep both processors busy.
`audio`: the media loop, whose clock is the position in the sound. Apart from it, how long the spoken notice waits:
for a line that is sounding, and for another end close by.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from typing import Any

import click
import numpy as np

from assistant.language import vocabulary as w
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.facts import contacts, lines
from assistant.session.facts.base import Fact
from assistant.station.account.json_out import print_json
from assistant.station.live.loop import LiveLoop
from assistant.station.loop.clock import DEMO_EPOCH, LiveClock, media_wall
from assistant.station.loop.keeper import SessionKeeper
from assistant.station.loop.media_loop import MediaLoop

TIMERS = 50
_FIRST_MS, _APART_MS = 2_000, 97
_WORDS_A_MS = 1


def many_walls(timers: int) -> p.Plan:
    """A plan of `timers` walls whose contacts end `_APART_MS` apart, all running at once."""
    surfaces = {f"wall{n}": p.Surface(f"wall{n}", f"wall {n}", "work") for n in range(timers)}
    steps = [
        p.Step(f"wet{n}", p.WET, f"Wipe wall {n}.", surface=f"wall{n}", agent="agent", agent_name="agent",
               contact_ms=_FIRST_MS + n * _APART_MS, wet_ms=3_600_000)
        for n in range(timers)
    ]
    steps.append(p.Step("wait", p.WAIT, "Wait.", wait_for=(p.ALL_CONTACTS,), reach=""))
    return p.Plan(
        "timers", "Timers", "1", "0" * 64, "", "bench", "the bench", "en", surfaces, {}, {}, (), tuple(steps), {},
        countdown_ms=(),
    )


class _Disk:
    """A record of its own: each decision's lines appended and synced before anything follows."""

    def __init__(self, folder: str) -> None:
        self._file = open(os.path.join(folder, "facts.jsonl"), "ab")  # noqa: SIM115 - closed by close()

    def append(self, facts: list[dict[str, Any]], t_ms: int, wall: str) -> None:
        self._file.write("".join(json.dumps([t_ms, wall, fact]) + "\n" for fact in facts).encode())
        self._file.flush()
        os.fsync(self._file.fileno())

    def close(self) -> None:
        self._file.close()


class _Ear:
    """A listener that hears nothing, and the keys that confirm wall after wall."""

    def __init__(self, words: int) -> None:
        self.left = words

    def set_active(self, *_: object) -> None: ...

    def feed(self, _pcm: bytes) -> list[Any]:
        return []

    def get(self) -> inputs.Input | None:
        if self.left <= 0:
            return None
        self.left -= 1
        return inputs.Word(w.CONFIRM, source="keys")


class _Mouth:
    """Notes when each end became a fact on disk, and when its notice could be spoken. Lines take no time."""

    def __init__(self, now_ms: Callable[[], float]) -> None:
        self.late: list[float] = []
        self.notice: list[float] = []
        self._now_ms = now_ms
        self._ended: dict[str, float] = {}
        self.silent = True

    def act(self, facts: tuple[Fact, ...], _now_ms: int) -> None:
        now = self._now_ms()
        for fact in facts:
            if isinstance(fact, contacts.ContactCompleted):
                self.late.append(now - fact.due_ms)
                self._ended[fact.surface] = fact.due_ms
            elif isinstance(fact, lines.Announced):
                self.notice += [now - self._ended[end] for end in fact.ends if end in self._ended]

    def next_end_ms(self) -> None:
        return None

    def ended(self, _now_ms: int) -> list[Any]:
        return []


class _Silence:
    def heard(self, *_: object) -> None: ...

    def block(self, _start_ms: int, samples: int) -> np.ndarray:
        return np.zeros(samples, np.int16)


def on_monotonic(timers: int, busy: int = 2) -> dict[str, Any]:
    """The live loop, `busy` other processes spinning."""
    spinners = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(busy)]
    try:
        with tempfile.TemporaryDirectory() as folder:
            clock, disk, ear = LiveClock(), _Disk(folder), _Ear(timers)
            mouth = _Mouth(lambda: (time.monotonic() - clock.zero_s) * 1000)
            keeper = SessionKeeper(many_walls(timers), disk, clock.wall)
            LiveLoop(keeper, clock, mouth, keys=ear).run(inputs.Begin("measure"))
            disk.close()
        plain = _plain_sleep(timers)
    finally:
        for spinner in spinners:
            spinner.kill()
            spinner.wait()
    return {"clock": "monotonic", "busy_processes": busy, **_figures(mouth), **plain}


def _plain_sleep(timers: int) -> dict[str, float]:
    """The baseline: how late a bare `sleep` to each deadline wakes up, under the same load."""
    begun, late = time.monotonic(), []
    for n in range(1, timers + 1):
        due = begun + n * _APART_MS / 1000
        time.sleep(max(0.0, due - time.monotonic()))
        late.append((time.monotonic() - due) * 1000)
    return {f"plain_sleep_p{q}_ms": round(float(np.percentile(late, q)), 2) for q in (50, 99)}


def on_audio(timers: int) -> dict[str, Any]:
    """The media loop: its time is the sound's position, so lateness is counted on that clock."""
    with tempfile.TemporaryDirectory() as folder:
        disk, ear = _Disk(folder), _Ear(timers)
        keeper = SessionKeeper(many_walls(timers), disk, media_wall(DEMO_EPOCH))
        mouth = _Mouth(lambda: keeper.state.now_ms)
        loop = MediaLoop(keeper, ear, mouth, _Silence(), lambda _end: None)
        loop_give = keeper.give
        loop_give(inputs.Begin("measure"), 0)
        while (given := ear.get()) is not None:
            loop_give(given, _WORDS_A_MS)
        loop.run(inputs.Tick())
        disk.close()
    return {"clock": "audio", "busy_processes": 0, **_figures(mouth)}


def _figures(mouth: _Mouth) -> dict[str, Any]:
    late = np.array(mouth.late)
    return {
        "timers": len(late), "late_p50_ms": round(float(np.percentile(late, 50)), 2),
        "late_p99_ms": round(float(np.percentile(late, 99)), 2), "late_max_ms": round(float(late.max()), 2),
        "early": int((late < 0).sum()), "notice_wait_ms": round(float(np.percentile(mouth.notice, 99)), 2),
        "notices": len(mouth.notice),
    }


@click.command()
@click.option("--timers", "count", default=TIMERS, show_default=True, help="How many contacts run at once.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def timers(count: int, as_json: bool) -> None:
    """Deadline to fact, on both clocks."""
    found = {"audio": on_audio(count), "monotonic": on_monotonic(count)}
    if as_json:
        print_json(found)
        return
    for clock, figures in found.items():
        click.echo(f"{clock}: " + ", ".join(f"{k} {v}" for k, v in figures.items()))

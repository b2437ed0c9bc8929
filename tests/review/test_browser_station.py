"""The board follows a session that the practice room's virtual operator works through, as the station writes it: the
connection is cut and comes back, and a witness at the board settles a step of the running session.

The record on disk, read with nothing but `bytes.count`, is the yardstick for what the board must have reached.
"""

from __future__ import annotations

import json
import threading
from pathlib import Path

import pytest

from assistant.practice.operator.persona import load_persona
from assistant.practice.session_run import Wanted, run_practice
from assistant.record.reader import read_record
from assistant.session.inputs import Input
from assistant.session.state import State
from assistant.station.live.board import board
from assistant.station.live.setup import prepare
from tests.bench.review.browser import launched
from tests.bench.review.stage import PASSPHRASE, SUPERVISOR, make_accounts, make_desk, served
from tests.review.test_browser import LINES, sign_in

pytestmark = pytest.mark.browser
STAMP, NAME = "20260305T080000Z", "worked"
STATEMENT = "I looked at every ring from the outside."


class Worker:
    """Works in a thread, but only as far as it is let: up to a session time, and past a witnessed step only after
    `stated` was set."""

    def __init__(self, records: Path, home: Path) -> None:
        self.folder = records / "gb-2" / f"{STAMP}-{NAME}"
        self.stated, self.asked, self.resting = threading.Event(), threading.Event(), threading.Event()
        self.problem: BaseException | None = None
        self._turn = threading.Condition()
        self._until_ms, self._state, self._clock_ms = -1, None, 0
        self._take = None
        self._records, self._home = records, home
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.thread.start()

    def work(self, until_ms: int) -> str:
        """Let it work up to `until_ms`; how many lines the record then has."""
        with self._turn:
            self.resting.clear()
            self._until_ms = until_ms
            self._turn.notify_all()
        self.rest()
        return self.lines()

    def rest(self) -> None:
        """Wait until it may go no further."""
        while not self.resting.wait(0.5):
            if not self.thread.is_alive():
                break
        assert self.problem is None, self.problem

    def lines(self) -> str:
        return str((self.folder / "record.jsonl").read_bytes().count(b"\n"))

    def _run(self) -> None:
        try:
            run_practice(
                prepare("gb-2-glove-sleeve-change"),
                Wanted("Dana Reyes", "led", 3, records=self._records, stamp=STAMP, session_id=NAME),
                persona=load_persona("careful"),
                on_facts=self._decided, pacer=self._pace, also=self._also,
            )  # fmt: skip
        except BaseException as error:  # shown by the test, not lost in the thread
            self.problem = error
        finally:
            self.resting.set()

    def _decided(self, state: State, _facts: object, _now: int) -> None:
        self._state = state

    def _also(self, now_ms: int) -> Input | None:
        if self._take is None:
            self._take = board(self.folder, lambda: self._state, self, self._home / "keys")
        return self._take()

    def now_ms(self) -> int:
        """The clock that the station's board asks: far enough on each time for it to look again."""
        self._clock_ms += 1_000
        return self._clock_ms

    def _pace(self, now: int, following: int) -> int:
        if self._state is not None and self._state.mode == "witness" and not self.stated.is_set():
            self.asked.set()
            self.resting.set()
            assert self.stated.wait(120), "nobody stated anything"
        with self._turn:
            if following > self._until_ms:
                self.resting.set()
                assert self._turn.wait_for(lambda: following <= self._until_ms, 120), "nobody let it go on"
        return following


def test_the_board_follows_the_virtual_operator_and_a_witness_there_settles_the_step(
    chromium_path: str, tmp_path: Path
) -> None:
    (tmp_path / "records").mkdir()
    make_accounts(tmp_path / "home")
    desk = make_desk(tmp_path, refresh_s=0.5)
    worker = Worker(tmp_path / "records", tmp_path / "home")
    worker.work(20_000)
    with launched(chromium_path) as browser:
        page = browser.new_context().new_page()
        with served(desk) as first:
            sign_in(page, first, "/board")
            page.wait_for_function("() => document.getElementById('link').textContent === 'Live'")
            for until_ms in (40_000, 60_000, 80_000):
                page.wait_for_function(LINES, arg=worker.work(until_ms))
            assert "Dana Reyes" in page.locator(".tile").inner_text()
            port = int(first.url.rpartition(":")[2])
        page.wait_for_function("() => document.getElementById('link').classList.contains('lost')")
        missed = worker.work(160_000)
        with served(desk, port):
            page.wait_for_function(LINES, arg=missed, timeout=20_000)  # not loaded again, nothing lost
            worker.work(1 << 40)
            assert worker.asked.is_set() and not worker.stated.is_set()
            page.get_by_role("link", name="Witness this step").click()
            page.get_by_label("I saw it directly", exact=False).check()
            page.get_by_label("What I saw").fill(STATEMENT)
            page.get_by_label("Name").fill(SUPERVISOR)
            page.get_by_label("Passphrase").fill(PASSPHRASE)
            page.get_by_role("button", name="State it").click()
            page.wait_for_url("**/board?done=witnessed")
            worker.resting.clear()
            worker.stated.set()
            worker.rest()
            page.wait_for_function(LINES, arg=worker.lines(), timeout=20_000)
            assert "Ended" in page.locator(".tile").inner_text()
    given = [json.loads(line.raw)["data"] for line in read_record(worker.folder).lines if line.kind == "witness_given"]
    assert [(g["person"], g["statement"]) for g in given] == [(SUPERVISOR, STATEMENT)]

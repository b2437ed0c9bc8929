"""A person practising at the keyboard: types what they would say; what the hands do is worked out from the time.

It stands where a virtual operator stands, so the same loop runs both. A confirmation that comes sooner than the
work can be done leaves the work part done, and the simulated enclosure knows.
"""

from __future__ import annotations

import queue
import re
import threading
import time
from collections.abc import Callable, Iterable
from typing import TextIO

from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.enclosure.stage import DrillStage
from assistant.practice.operator import understanding as u
from assistant.practice.operator.channel import english
from assistant.practice.operator.mind import Said, Utterance
from assistant.practice.operator.saying import date_words, lot_words, number_words
from assistant.practice.operator.short_wording import FULL, SHORT, asked_in_short
from assistant.practice.trainee.leaving import leave_if_asked

_SPEED_PART = 0.6  # somebody quick needs at least this part of a steady person's time
_LOOK_MS = 1000  # nothing may be due for as long as a person thinks, and the session still goes on
_LETTER_MS = 70  # typing stands for speaking: about as long as the words would take


class TypedTrainee:
    """`lines`: what is typed, as it comes (a queue, or a list of (session ms, text) for tests). An empty line says
    nothing. "quit" raises KeyboardInterrupt. `brief`: the session begins in short wording."""

    def __init__(
        self, world: EnclosureSim, lines: queue.Queue[str] | Iterable[tuple[int, str]], stage: DrillStage | None = None,
        brief: bool = False,
    ) -> None:
        self.world = world
        self.said: list[Said] = []
        self.lapses: list[tuple[int, str]] = []
        self._brief = brief
        self._stage = stage or DrillStage((), world, lambda text: None)
        self.happened = self._stage.happened
        self.lost_ms = 0
        self._queue = lines if isinstance(lines, queue.Queue) else None
        self._script = [] if isinstance(lines, queue.Queue) else sorted(lines)
        self._action: u.Action | None = None
        self._begun_ms = 0
        self._aside: tuple[u.Action, int] | None = None  # what a re-wet came before, and ms spent on it
        self._latest_ms = 0

    def hear(self, text: str, ended_ms: int, role: str = "") -> None:
        """A new instruction starts the hands on it."""
        self._stage.hear(text, ended_ms)
        meaning = u.understand(text)
        if text in (SHORT, FULL):
            self._brief = text == SHORT
        elif self._brief and meaning.kind == u.NEWS:
            meaning = asked_in_short(meaning, self.world.names, "", "") or meaning
        elif meaning.kind == u.BACK_TO:
            self._go_back(meaning.what, ended_ms)
        if meaning.kind == u.REWET and self._action is not None:
            self._aside = self._action, ended_ms - self._begun_ms
        if meaning.kind in (u.DO, u.WIPE, u.REWET):
            self._action, self._begun_ms = self.world.names.action(meaning), ended_ms
        elif meaning.kind == u.FROM_START:
            self._begun_ms = ended_ms

    def _go_back(self, what: str, ended_ms: int) -> None:
        """To what was at hand before a re-wet or a question, with the time that was spent on it already."""
        step = re.split(r"\s*\bwet now:", what, maxsplit=1, flags=re.IGNORECASE)[0]
        asked = asked_in_short(u.Meaning(u.NEWS, step), self.world.names, "", "")
        if asked is None or asked.kind not in (u.DO, u.WIPE):
            return
        action = self.world.names.action(asked)
        if not _same(action, self._action):
            spent_ms = self._aside[1] if self._aside and _same(action, self._aside[0]) else 0
            self._action, self._begun_ms = action, ended_ms - spent_ms
        self._aside = None

    def sounding(self, now_ms: int) -> None:
        """Nothing changes for somebody who types."""

    def next_action(self, now_ms: int) -> Utterance | None:
        """The next typed line, if there is one."""
        self._latest_ms = now_ms
        self.world.settle(now_ms)
        self._stage.go_on(now_ms)
        text = self._take(now_ms)
        return self.says(as_said(text), now_ms) if text else None

    def says(self, text: str, now_ms: int) -> Utterance:
        """Something typed or said at `now_ms`: a confirmation is held against what can have been done by then."""
        end = now_ms + max(400, len(text) * _LETTER_MS)
        word = english().word_of(text.lower()) or text
        meant = word if word in ("confirm", "rewetted") else "other"
        if meant != "other" and self._action is not None:
            needed = self.world.duration_ms(self._action) * _SPEED_PART
            part = min(1.0, (now_ms - self._begun_ms) / max(1.0, needed))
            self.world.do(self._action, self._begun_ms, max(now_ms, self._begun_ms + 1), part)
            if part < 1.0:
                self.lapses.append((now_ms, "claims_early"))
        self.said.append(Said(text, now_ms, end, meant, self._action))
        if meant != "other":
            self._action = None
        return Utterance(text, now_ms)

    def next_ms(self) -> int | None:
        """When to look again: the next line of a script; where somebody types, in a second."""
        if self._queue is not None:
            return self._latest_ms + _LOOK_MS
        due = [at for at in (self._script[0][0] if self._script else None, self._stage.next_ms()) if at is not None]
        return min(due, default=None)

    def _take(self, now_ms: int) -> str:
        if self._queue is None:
            return self._script.pop(0)[1].strip().lower() if self._script and self._script[0][0] <= now_ms else ""
        try:
            text = self._queue.get_nowait().strip().lower()
        except queue.Empty:
            return ""
        leave_if_asked(text)
        return text


def _same(one: u.Action, other: u.Action | None) -> bool:
    return other is not None and (one.kind, one.subject) == (other.kind, other.subject)


def as_said(text: str) -> str:
    """A number, lot or date typed as it is written, in the words it would be said with; anything else unchanged."""
    if re.fullmatch(r"-?\d+(\.\d+)?", text, re.ASCII):
        return number_words(text)
    if re.fullmatch(r"[a-z]{1,4}-?\d[\da-z-]*", text, re.ASCII):
        return lot_words(text)
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text, re.ASCII):
        try:
            return date_words(text, with_day=True)
        except (ValueError, IndexError):
            return text  # no such day
    return text


def read_lines(source: TextIO) -> queue.Queue[str]:
    """Lines typed at `source`, read in a thread of their own; at its end "quit" follows."""
    lines: queue.Queue[str] = queue.Queue()

    def read() -> None:
        for line in source:
            lines.put(line)
        lines.put("quit")

    threading.Thread(target=read, name="typed", daemon=True).start()
    return lines


def real_pace(
    factor: float, lines: queue.Queue[str], sleep: Callable[[float], None] = time.sleep, step_s: float = 0.05,
    quick: Callable[[], bool] = lambda: True,
) -> Callable[[int, int], int]:
    """A pacer for `Simulation`: `factor` session seconds a second while `quick()`, else one; cut short when something
    is typed."""

    def pace(now_ms: int, next_ms: int) -> int:
        reached = now_ms
        while reached < next_ms:
            if not lines.empty():
                return reached + 1
            sleep(step_s)
            reached = min(next_ms, reached + max(1, round(step_s * 1000 * (factor if quick() else 1.0))))
        return reached

    return pace

"""What each kind of line leads to in a virtual operator's mind: something to do, to say, to leave or to go back to."""

from __future__ import annotations

import re
from collections.abc import Mapping

from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator import understanding as u
from assistant.practice.operator.answering import Answering
from assistant.practice.operator.hands import Hands
from assistant.practice.operator.lapses import Lapses
from assistant.practice.operator.mind import LONGEST_LINE_MS, MOST_TRIES, Mind, Saying, Task
from assistant.practice.operator.short_wording import FULL, SHORT, asked_in_short
from assistant.practice.operator.vocabulary import CHAT, TRAINED

_ASIDE = (u.PAUSED, u.WHICH, u.POWER, u.WHAT_HAPPENED, u.STOPPING)  # what is at hand waits meanwhile
_SPEAK_OF_LAST = (u.AGREE, u.VALUE_BACK, *_ASIDE)
_PASSING = (u.REWET, *_SPEAK_OF_LAST)  # gone once answered


class Lines:
    """Turns a line's meaning into tasks and sayings of `mind`."""

    def __init__(
        self, mind: Mind, hands: Hands, answering: Answering, lapses: Lapses, world: EnclosureSim, words: Mapping[str, str],
    ) -> None:
        self._mind, self._hands, self._answering, self._lapses = mind, hands, answering, lapses
        self._world, self._words = world, words

    def heard(self, meaning: u.Meaning, at: int) -> None:
        """A line of this meaning has ended at `at`."""
        handler = _HANDLERS.get(meaning.kind)
        if handler:
            handler(self, meaning, at)
        elif meaning.kind in u.DEMANDS:
            self._demand(meaning, at)

    def asks_again(self, at: int) -> None:
        """Something was said that this person isn't sure of: nothing is said once more before it has come again."""
        task = self._hands.at_hand()
        if task is not None and task.tries:
            task.say_ms = max(task.say_ms, at + LONGEST_LINE_MS)
        if not any(s.meant == "repeat" for s in self._mind.sayings):
            self._say(at + 900, "repeat")

    def _say(self, at: int, meant: str) -> None:
        self._mind.sayings.append(Saying(at, meant, self._words[meant]))

    def _demand(self, meaning: u.Meaning, at: int) -> None:
        mind, hands = self._mind, self._hands
        if meaning.kind == u.REWET:
            if any(t.meaning.kind == u.REWET and t.meaning.what == meaning.what for t in mind.tasks):
                return
            if self._lapses.happens("misses_rewet", at):
                return
        elif meaning.kind in _SPEAK_OF_LAST:
            if mind.tasks:
                mind.last = mind.tasks[-1]
        else:
            hands.abandon(at)
            mind.waiting = False
        task = hands.task(meaning, at)
        if meaning.kind == u.REWET:
            hands.push(task, at)
        elif meaning.kind in _ASIDE:
            hands.set_aside(at)
            mind.tasks = [t for t in mind.tasks if t.meaning.kind != meaning.kind] + [task]
        else:
            mind.lost = 0
            mind.tasks = [task]
        if self._lapses.happens("chats", at):
            mind.sayings.append(Saying(at + 1500, "chat", self._lapses.random.choice(CHAT)))
        if meaning.kind in (u.DO, u.WIPE) and self._lapses.happens("asks_again", at):
            self._say(at + 900, "repeat")
        if mind.owns_up:
            mind.owns_up = False
            self._say(at + 1800, "correction")

    def _over(self, meaning: u.Meaning, at: int) -> None:
        self._mind.over = meaning.kind == u.OVER
        self._hands.abandon(at)
        self._mind.waiting = True

    def _from_start(self, _meaning: u.Meaning, at: int) -> None:
        task = self._hands.at_hand()
        if task is not None and task.action is not None and task.action.kind == u.WET:
            self._mind.tasks[-1] = self._hands.task(task.meaning, at)

    def _dried(self, meaning: u.Meaning, at: int) -> None:
        low = meaning.text.lower()
        gone = [t for t in self._mind.tasks if t.meaning.kind == u.REWET and t.meaning.what.lower() in low]
        for task in gone:
            self._mind.tasks.remove(task)
        if gone:
            self._hands.take_up(at)

    def _back_to(self, meaning: u.Meaning, at: int) -> None:
        mind = self._mind
        while mind.tasks and mind.tasks[-1].tries and mind.tasks[-1].meaning.kind in _PASSING:
            mind.tasks.pop()
        what = meaning.what.lower()
        while mind.tasks and not _is_that(mind.tasks[-1], what):
            mind.tasks.pop()  # it had something else in mind than what is open
        if mind.tasks:
            self._hands.take_up(at)
            return
        asked = u.at_that(meaning.what, self._words["confirm"], self._words["no"])
        if asked.kind == u.WAIT:
            mind.waiting = True
        elif asked.kind == u.VALUE and self._answering.spelling:
            self.asks_again(at)  # which sign is wanted can't be told from this
        else:
            self._demand(asked, at)

    def _news(self, meaning: u.Meaning, at: int) -> None:
        self._answering.told(meaning.text)
        task = self._hands.at_hand()
        if task is not None and task.meaning.kind == u.REWET and meaning.text.lower().endswith(": wet again."):
            self._mind.tasks.pop()
            self._hands.take_up(at)
        elif meaning.text in (SHORT, FULL):
            self._mind.brief = meaning.text == SHORT
        elif self._mind.brief:
            asked = asked_in_short(meaning, self._world.names, self._words["confirm"], self._words["no"])
            if asked is not None:
                self._demand(asked, at)

    def _not_understood(self, _meaning: u.Meaning, at: int) -> None:
        task, meant = self._hands.at_hand(), self._mind.last_meant
        if task is not None and task.tries and meant != "chat":
            task.say_ms = at + 1200
        elif meant in TRAINED and meant not in ("confirm", "no", "started", "rewetted", "repeat"):
            if task is None and not any(s.meant == meant for s in self._mind.sayings):
                self._say(at + 1200, meant)

    def _refused(self, meaning: u.Meaning, at: int) -> None:
        task, mind = self._hands.at_hand(), self._mind
        mind.refusals += 1
        if mind.stopping and " cancel" in meaning.text:
            mind.tasks = []
            self._demand(u.Meaning(u.STOPPING, meaning.text, self._words["confirm"], self._words["cancel"]), at)
            return
        if task is not None and task.acted:
            task.say_ms = at + 2500
            if mind.refusals >= 2:
                task.tries = MOST_TRIES  # said twice in vain: ask


def _is_that(task: Task, what: str) -> bool:
    """Whether a task is the one spoken of: they share their first sentence."""
    first = re.split(r"(?<=[.?])\s", what, maxsplit=1)[0]
    return first in task.meaning.text.lower()


_HANDLERS = {
    u.OVER: Lines._over, u.WAIT: Lines._over, u.WITNESS: Lines._over, u.FROM_START: Lines._from_start, u.DRIED: Lines._dried,
    u.BACK_TO: Lines._back_to, u.NEWS: Lines._news, u.NOT_UNDERSTOOD: Lines._not_understood, u.REFUSED: Lines._refused,
}

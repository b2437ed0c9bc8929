"""What a virtual operator has to do, the thing at hand last, and its hands that do it in the simulated enclosure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator import understanding as u
from assistant.practice.operator.answering import Answering
from assistant.practice.operator.lapses import Lapses
from assistant.practice.operator.mind import Mind, Saying, Task
from assistant.practice.operator.persona import Persona

_ONLY_ANSWERED = (u.AGREE, u.VALUE_BACK, u.WHICH, u.POWER, u.WHAT_HAPPENED)  # what they speak of was done before
_NOTICE_MS = 1000  # until somebody who looks on has seen it
SLIPPED = 0.85  # of a surface covered, where a wipe misses part of it


class Hands:
    """Works on `mind.tasks`. `words`: command id -> how this person says it."""

    def __init__(
        self, persona: Persona, world: EnclosureSim, mind: Mind, answering: Answering, lapses: Lapses, words: Mapping[str, str],
    ) -> None:
        self._persona, self._world, self._mind = persona, world, mind
        self._answering, self._lapses, self._words = answering, lapses, words

    def at_hand(self) -> Task | None:
        return self._mind.tasks[-1] if self._mind.tasks else None

    def task(self, meaning: u.Meaning, at: int) -> Task:
        """What a line asks for, with how long it will take and how well it will be done."""
        persona, random = self._persona, self._lapses.random
        answer_ms = round(persona.pace.answer_s * 1000 * random.uniform(0.8, 1.25))
        meant, word, value = self._answering.reply(meaning, self._mind.last, self._mind.surface, self._mind.stopping)
        action = self._answering.action(meaning, self._mind.last)
        if meaning.kind in _ONLY_ANSWERED:
            begin = end = at
        else:
            begin = at + answer_ms
            pace = persona.pace.work * random.uniform(0.9, 1.15)
            end = begin + (round(self._world.duration_ms(action) * pace) if action else 2000)
            if action and action.kind == u.WATCH:  # no hurry of the person's own
                end = self._seen_dry(begin)
        task = Task(meaning, action, begin, end, end + answer_ms, meant, word, value)
        task.talks_over = self._lapses.happens("talks_over", at)
        if begin == end:
            task.begun = task.acted = True
        elif action and action.kind == u.WET:
            self._spoil_work(task, action, at)
        elif action and action.kind in (u.WORK, u.WATCH) and self._lapses.happens("claims_early", at):
            self._hurry(task)
        return task

    def _seen_dry(self, begin_ms: int) -> int:
        """When somebody who looks on from `begin_ms` sees that the patch has dried."""
        return max(begin_ms, self._world.patch_dries_ms) + _NOTICE_MS

    def _spoil_work(self, task: Task, action: u.Action, at: int) -> None:
        """The ways in which a wipe isn't what was asked for."""
        if self._lapses.happens("mishears", at):
            action = replace(action, subject=self._neighbour(action.subject))
        if action.fresh and self._lapses.happens("reuses_wipe", at):
            action = replace(action, fresh=False)
        task.action = action
        if self._lapses.happens("claims_early", at):
            self._hurry(task)
        elif self._lapses.happens("slips", at):
            task.covered = SLIPPED

    def _hurry(self, task: Task) -> None:
        part = self._persona.errors.early_part
        task.end_ms = task.begin_ms + round((task.end_ms - task.begin_ms) * part)
        task.say_ms, task.covered = task.end_ms + 200, part

    def _neighbour(self, surface: str) -> str:
        zone = self._world.plan.surfaces[surface].zone
        others = [s.id for s in self._world.plan.surfaces.values() if s.zone == zone and s.id != surface]
        return self._lapses.random.choice(others) if others else surface

    def push(self, task: Task, at: int) -> None:
        """A re-wet comes before the work at hand, after one asked for earlier."""
        mind = self._mind
        waiting = [t for t in mind.tasks if t.meaning.kind == u.REWET]
        if not waiting:
            self.set_aside(at)
            mind.tasks.append(task)
        else:
            mind.tasks.insert(mind.tasks.index(waiting[0]), task)

    def set_aside(self, at: int) -> None:
        """Leave the thing at hand for later, and remember how much of it is left."""
        task = self.at_hand()
        if task is not None and not task.acted:
            task.left_ms = max(0, task.end_ms - max(at, task.begin_ms))

    def take_up(self, at: int) -> None:
        """Go on with what was set aside."""
        task = self.at_hand()
        if task is None:
            return
        if task.acted:
            task.say_ms = max(task.say_ms if task.tries == 0 else 0, at + 1200)
            return
        left = task.left_ms or max(1000, task.end_ms - task.begin_ms)
        if not task.begun:
            task.begin_ms = at + 800
        task.end_ms = at + 800 + left
        if task.action and task.action.kind == u.WATCH:  # it dried on meanwhile
            task.end_ms = self._seen_dry(at + 800)
        task.say_ms = task.end_ms + 800

    def abandon(self, at: int) -> None:
        """Leave what is half done as it is."""
        for task in self._mind.tasks:
            if task.begun and not task.acted and task.action:
                part = (at - task.begin_ms) / max(1, task.end_ms - task.begin_ms)
                self._world.do(task.action, task.begin_ms, max(at, task.begin_ms + 1), min(0.95, max(0.05, part)))
        self._mind.tasks = []

    def work(self, now_ms: int) -> None:
        """Do what was to be done by now."""
        task = self.at_hand()
        self._world.settle(now_ms)
        if task is None:
            return
        if not task.begun and task.begin_ms <= now_ms:
            task.begun = True
            if task.action and task.action.kind == u.WET and self._lapses.chance(self._persona.errors.says_started):
                self._mind.sayings.append(Saying(task.begin_ms + 100, "started", self._words["started"]))
        if task.begun and not task.acted and task.end_ms <= now_ms:
            task.acted = True
            if task.action:
                self._world.do(task.action, task.begin_ms, task.end_ms, task.covered)

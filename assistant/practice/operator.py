"""A virtual operator: hears lines, acts in the simulated enclosure, answers in words. It has what a person has.

It is told no step ids and not what is listened for. Everything it says is either a word the assistant's own
sentence offered, or one of the few words every trained person knows.
"""

from __future__ import annotations

import random
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from assistant.practice import understanding as u
from assistant.practice.answering import Answering
from assistant.practice.channel import english
from assistant.practice.cues import Cue, Cues
from assistant.practice.enclosure_sim import EnclosureSim
from assistant.practice.operator_mind import Mind, Saying, Said, Task, Utterance
from assistant.practice.persona import Persona
from assistant.session.words import MISHAPS
from assistant.speaking.estimate import seconds

# What a trained person knows without being told, by command id; how each is said comes from the language pack.
TRAINED = ("confirm", "no", "started", "rewetted", "correction", "repeat", "resume", "cancel", "trouble", "how_long", "where",
           "dry_surface", "dropped_item", "torn_glove", "pressure_alarm", "power_cut", "wipe_reused", "touched",
           "spill", "splash", "agent_out", "unwell", "hand_over", "fire", "stop", "skip", "pause", "computer",
           "enclosure")
CHAT = (
    "it is rather warm in here today", "did anyone move the spare gloves", "the meeting is at half past two",
    "can you turn the radio down please", "I will have the report for you tomorrow", "mind the cable over there",
)
_QUIET_MS = 700  # after the assistant's last sound, before a person starts to speak
_MOST_TRIES = 4  # of saying the same, before asking where one is
# Lines that answer or announce, in short wording too.
_ANSWERS = re.compile(
    r"(: (ready|finished|wet again)|to stay wet|left|started\. .*|no longer counts|is noted|for the supervisor)\.$"
    r"|^(taken back|witnessed|to be done again|we (go on|do)|yes\.|no\.|you can say|wet now|nothing|after this|practice"
    r"|this is|i (speak|was)|use the)|: .* left\.$",
    re.IGNORECASE,
)
_AWAY_MS = 60_000  # how long somebody who ignores a line has their mind elsewhere
_WONDER_MS, _WAIT_WONDER_MS, _NEVER_MS = 40_000, 700_000, 10**12
_MOST_QUESTIONS = 6  # in a row, before stopping safely
_LONGEST_LINE_MS = 9000  # how long to hold back where nobody tells that the assistant is sounding


class Operator:
    """One person at the gauntlets.

    `words`: command id -> how this person says it, over the pack's form and over what a prompt offers.
    `answers`: fragment of a question -> yes or no, for those whose answer isn't yes. `cues`: things that happen at
    a set moment. Same persona, seed, world and lines heard: same utterances at the same times.
    """

    def __init__(
        self, persona: Persona, world: EnclosureSim, seed: int | str = 0, *,
        words: Mapping[str, str] | None = None, answers: Mapping[str, bool] | None = None, cues: Sequence[Cue] = (),
        brief: bool = False,
    ) -> None:
        self.persona = persona
        self.world = world
        self.said: list[Said] = []
        self.lost_ms = 0  # spent on saying again what had been said
        self.lapses: list[tuple[int, str]] = []  # (when, which of the persona's errors): known to the judge alone
        self.words = {word: forms[0] for word, forms in english().say.items() if word in TRAINED}
        self.words.update(words or {})
        self._own = frozenset(words or ())
        self._answering = Answering(world, dict(answers or {}))
        self._cues = Cues(cues)
        self._random = random.Random(f"operator:{persona.id}:{seed}")
        self._mind = Mind(brief=brief)
        self.happened: list[tuple[int, str]] = []  # mishaps on cue: (when, command id)

    # Ears

    def hear(self, text: str, ended_ms: int, role: str = "") -> None:
        """A line has been spoken to its end at `ended_ms`. `role` is ignored: a person hears text."""
        mind = self._mind
        mind.heard_ms = max(mind.heard_ms, ended_ms)
        meaning = u.understand(text)
        cues = self._cues.heard(text)
        for cue in cues:
            self._plan_cue(cue, ended_ms)
        if any(cue.ignore for cue in cues):
            self._abandon(ended_ms)
            mind.speaking_until_ms = ended_ms + _AWAY_MS
            return
        handler = _HANDLERS.get(meaning.kind)
        if handler:
            handler(self, meaning, ended_ms)
        elif meaning.kind in u.DEMANDS:
            self._demand(meaning, ended_ms)

    def sounding(self, now_ms: int) -> None:
        """The assistant is audible now: a polite person waits. Optional; without it a pause has to do."""
        self._mind.sounding_ms = max(self._mind.sounding_ms, now_ms)
        self._mind.told_of_sound = True

    def asks_again(self, at: int) -> None:
        """Something was said that this person isn't sure of: nothing is said once more before it has come again."""
        task = self._at_hand()
        if task is not None and task.tries:
            task.say_ms = max(task.say_ms, at + _LONGEST_LINE_MS)
        if not any(s.meant == "repeat" for s in self._mind.sayings):
            self._mind.sayings.append(Saying(at + 900, "repeat", self.words["repeat"]))

    # Hands and mouth

    def next_action(self, now_ms: int) -> Utterance | None:
        """What begins by `now_ms` and wasn't handed out yet; None while silent. Call with rising times."""
        mind = self._mind
        self._work(now_ms)
        if now_ms < mind.speaking_until_ms:
            return None
        due = min((s for s in mind.sayings if s.at_ms <= now_ms), key=lambda s: s.at_ms, default=None)
        if due is not None and (due.drop or self._quiet(now_ms)):
            mind.sayings.remove(due)
            return self._say_planned(due, now_ms)
        task = self._at_hand()
        if task is None and self._puzzled_ms() <= now_ms and self._quiet(now_ms):
            return self._ask_where(None, now_ms)
        if task is None or not task.acted or task.say_ms > now_ms:
            return None
        if not self._quiet(now_ms) and not task.talks_over:
            task.say_ms = max(task.say_ms, self._quiet_ms())
            return None
        if task.tries >= _MOST_TRIES:
            return self._ask_where(task, now_ms)
        return self._answer(task, now_ms)

    def _puzzled_ms(self) -> int:
        """When, with nothing to do and nothing heard, a person begins to wonder."""
        mind = self._mind
        since = max(mind.heard_ms, mind.speaking_until_ms)
        return _NEVER_MS if mind.over else since + (_WAIT_WONDER_MS if mind.waiting else _WONDER_MS)

    def _ask_where(self, task: Task | None, now_ms: int) -> Utterance:
        """Saying it again doesn't help: ask; and if asking doesn't help either, stop safely."""
        mind = self._mind
        mind.lost += 1
        mind.refusals = 0
        meant = "stop" if mind.lost > _MOST_QUESTIONS else "where"
        mind.stopping = mind.stopping or meant == "stop"
        end = self._speak(self.words[meant], now_ms, meant, None, "")
        if task is not None:
            task.tries = 0
            task.say_ms = end + round(self.persona.pace.patience_s * 1000) + 9000
        return Utterance(self.words[meant], now_ms)

    def next_ms(self) -> int | None:
        """When it will next do or say something if nothing more is heard; None if never."""
        mind, found = self._mind, []
        found += [s.at_ms if s.drop else max(s.at_ms, self._quiet_ms()) for s in mind.sayings]
        task = self._at_hand()
        if task is not None and not task.begun:
            found.append(task.begin_ms)
        elif task is not None and not task.acted:
            found.append(task.end_ms)
        elif task is not None:
            found.append(task.say_ms)
        elif not mind.over:
            found.append(max(self._puzzled_ms(), self._quiet_ms()))
        return max(min(found), mind.speaking_until_ms) if found else None

    @property
    def over(self) -> bool:
        """It has heard that the session has ended."""
        return self._mind.over

    # What a line leads to

    def _demand(self, meaning: u.Meaning, at: int) -> None:
        mind = self._mind
        if meaning.kind == u.REWET:
            if any(t.meaning.kind == u.REWET and t.meaning.what == meaning.what for t in mind.tasks):
                return
            if self._lapse("misses_rewet", at):
                return
        elif meaning.kind in (u.AGREE, u.VALUE_BACK, u.WHICH, u.POWER, u.WHAT_HAPPENED, u.PAUSED, u.STOPPING):
            if mind.tasks:
                mind.last = mind.tasks[-1]
        else:
            self._abandon(at)
            mind.waiting = False
        task = self._task(meaning, at)
        if meaning.kind == u.REWET:
            self._push(task, at)
        elif meaning.kind in (u.PAUSED, u.WHICH, u.POWER, u.WHAT_HAPPENED, u.STOPPING):
            self._set_aside(at)
            mind.tasks = [t for t in mind.tasks if t.meaning.kind != meaning.kind] + [task]
        else:
            mind.lost = 0
            mind.tasks = [task]
        if self._lapse("chats", at):
            mind.sayings.append(Saying(at + 1500, "chat", self._random.choice(CHAT)))
        if meaning.kind in (u.DO, u.WIPE) and self._lapse("asks_again", at):
            mind.sayings.append(Saying(at + 900, "repeat", self.words["repeat"]))
        if mind.owns_up:
            mind.owns_up = False
            mind.sayings.append(Saying(at + 1800, "correction", self.words["correction"]))

    def _task(self, meaning: u.Meaning, at: int) -> Task:
        persona = self.persona
        answer_ms = round(persona.pace.answer_s * 1000 * self._random.uniform(0.8, 1.25))
        meant, word, value = self._answering.reply(meaning, self._mind.last, self._mind.surface, self._mind.stopping)
        action = self._answering.action(meaning, self._mind.last)
        if meaning.kind in (u.AGREE, u.VALUE_BACK, u.WHICH, u.POWER, u.WHAT_HAPPENED):
            begin = end = at
        else:
            begin = at + answer_ms
            pace = persona.pace.work * self._random.uniform(0.9, 1.15)
            end = begin + (round(self.world.duration_ms(action) * pace) if action else 2000)
        task = Task(meaning, action, begin, end, end + answer_ms, meant, word, value)
        task.talks_over = self._lapse("talks_over", at)
        if begin == end:
            task.begun = task.acted = True  # only an answer; what it speaks of was done before
        elif action and action.kind == u.WET:
            self._spoil_work(task, at)
        elif action and action.kind == u.WORK and self._lapse("claims_early", at):
            self._hurry(task)
        return task

    def _spoil_work(self, task: Task, at: int) -> None:
        """The ways in which a wipe isn't what was asked for."""
        action = task.action
        if self._lapse("mishears", at):
            task.action = replace(action, subject=self._neighbour(action.subject))
        if action.fresh and self._lapse("reuses_wipe", at):
            task.action = replace(task.action, fresh=False)
        if self._lapse("claims_early", at):
            self._hurry(task)
        elif self._lapse("slips", at):
            task.covered = 0.85

    def _hurry(self, task: Task) -> None:
        part = self.persona.errors.early_part
        task.end_ms = task.begin_ms + round((task.end_ms - task.begin_ms) * part)
        task.say_ms, task.covered = task.end_ms + 200, part

    def _neighbour(self, surface: str) -> str:
        zone = self.world.plan.surfaces[surface].zone
        others = [s.id for s in self.world.plan.surfaces.values() if s.zone == zone and s.id != surface]
        return self._random.choice(others) if others else surface

    def _push(self, task: Task, at: int) -> None:
        """A re-wet comes before the work at hand, after one asked for earlier."""
        mind = self._mind
        waiting = [t for t in mind.tasks if t.meaning.kind == u.REWET]
        if not waiting:
            self._set_aside(at)
            mind.tasks.append(task)
        else:
            mind.tasks.insert(mind.tasks.index(waiting[0]), task)

    def _set_aside(self, at: int) -> None:
        task = self._at_hand()
        if task is not None and not task.acted:
            task.left_ms = max(0, task.end_ms - max(at, task.begin_ms))

    def _take_up(self, at: int) -> None:
        """Go on with what was set aside."""
        task = self._at_hand()
        if task is None:
            return
        if task.acted:
            task.say_ms = max(task.say_ms if task.tries == 0 else 0, at + 1200)
            return
        left = task.left_ms or max(1000, task.end_ms - task.begin_ms)
        if not task.begun:
            task.begin_ms = at + 800
        task.end_ms = at + 800 + left
        task.say_ms = task.end_ms + 800

    def _abandon(self, at: int) -> None:
        """Leave what is half done as it is."""
        for task in self._mind.tasks:
            if task.begun and not task.acted and task.action:
                part = (at - task.begin_ms) / max(1, task.end_ms - task.begin_ms)
                self.world.do(task.action, task.begin_ms, max(at, task.begin_ms + 1), min(0.95, max(0.05, part)))
        self._mind.tasks = []

    def _over(self, meaning: u.Meaning, at: int) -> None:
        self._mind.over = meaning.kind == u.OVER
        self._abandon(at)
        self._mind.waiting = True

    def _from_start(self, meaning: u.Meaning, at: int) -> None:
        task = self._at_hand()
        if task is None or task.action is None or task.action.kind != u.WET:
            return
        fresh = self._task(task.meaning, at)
        self._mind.tasks[-1] = fresh

    def _dried(self, meaning: u.Meaning, at: int) -> None:
        low = meaning.text.lower()
        gone = [t for t in self._mind.tasks if t.meaning.kind == u.REWET and t.meaning.what.lower() in low]
        for task in gone:
            self._mind.tasks.remove(task)
        if gone:
            self._take_up(at)

    def _back_to(self, meaning: u.Meaning, at: int) -> None:
        mind = self._mind
        while mind.tasks and mind.tasks[-1].tries and mind.tasks[-1].meaning.kind in _PASSING:
            mind.tasks.pop()
        what = meaning.what.lower()
        while mind.tasks and not self._is_that(mind.tasks[-1], what):
            mind.tasks.pop()  # it had something else in mind than what is open
        if mind.tasks:
            self._take_up(at)
            return
        asked = u.at_that(meaning.what, self.words["confirm"], self.words["no"])
        if asked.kind == u.WAIT:
            mind.waiting = True
        elif asked.kind == u.VALUE and self._answering.spelling:
            self.asks_again(at)  # which sign is wanted can't be told from this
        else:
            self._demand(asked, at)

    @staticmethod
    def _is_that(task: Task, what: str) -> bool:
        """Whether a task is the one spoken of: they share their first sentence."""
        first = re.split(r"(?<=[.?])\s", what, maxsplit=1)[0]
        return first in task.meaning.text.lower()

    def _news(self, meaning: u.Meaning, at: int) -> None:
        task = self._at_hand()
        if task is not None and task.meaning.kind == u.REWET and meaning.text.lower().endswith(": wet again."):
            self._mind.tasks.pop()
            self._take_up(at)
        elif meaning.text in ("Short wording.", "Full wording."):
            self._mind.brief = meaning.text == "Short wording."
        elif self._mind.brief and not _ANSWERS.search(meaning.text):
            self._brief(meaning, at)

    def _brief(self, meaning: u.Meaning, at: int) -> None:
        """In short wording the words that answer are left out: a trained person knows them."""
        asked = u.at_that(meaning.text, self.words["confirm"], self.words["no"])
        names = self.world.names
        surface = names.find(names.surfaces, meaning.text)
        if asked.kind == u.DO and surface and names.find(names.agents, meaning.text):
            asked = replace(asked, kind=u.WIPE, what=surface)
        self._demand(asked, at)

    def _not_understood(self, meaning: u.Meaning, at: int) -> None:
        task = self._at_hand()
        if task is not None and task.tries and self._mind.last_meant != "chat":
            task.say_ms = at + 1200
        elif self._mind.last_meant in TRAINED and self._mind.last_meant not in ("confirm", "no", "started", "rewetted", "repeat"):
            meant = self._mind.last_meant
            if task is None and not any(s.meant == meant for s in self._mind.sayings):
                self._mind.sayings.append(Saying(at + 1200, meant, self.words[meant]))

    def _refused(self, meaning: u.Meaning, at: int) -> None:
        task, mind = self._at_hand(), self._mind
        mind.refusals += 1
        if mind.stopping and " cancel" in meaning.text:
            mind.tasks = []
            self._demand(u.Meaning(u.STOPPING, meaning.text, self.words["confirm"], self.words["cancel"]), at)
            return
        if task is not None and task.acted:
            task.say_ms = at + 2500
            if mind.refusals >= 2:
                task.tries = _MOST_TRIES  # said twice in vain: ask

    # Doing and saying

    def _at_hand(self) -> Task | None:
        return self._mind.tasks[-1] if self._mind.tasks else None

    def _chance(self, rate: float) -> bool:
        return rate > 0 and self._random.random() < rate

    def _lapse(self, kind: str, at: int) -> bool:
        """Whether one of the persona's errors happens here; noted if so."""
        happens = self._chance(getattr(self.persona.errors, kind))
        if happens:
            self.lapses.append((at, kind))
        return happens

    def _quiet(self, now_ms: int) -> bool:
        return now_ms >= self._quiet_ms()

    def _quiet_ms(self) -> int:
        """From when on, if nothing more is heard, it will have been quiet for long enough to speak."""
        return max(self._mind.sounding_ms, self._mind.heard_ms) + _QUIET_MS

    def _work(self, now_ms: int) -> None:
        """Let the hands do what they were to do by now."""
        task, mind = self._at_hand(), self._mind
        self.world.settle(now_ms)
        if task is None:
            return
        if not task.begun and task.begin_ms <= now_ms:
            task.begun = True
            if task.action and task.action.kind == u.WET and self._chance(self.persona.errors.says_started):
                mind.sayings.append(Saying(task.begin_ms + 100, "started", self.words["started"]))
        if task.begun and not task.acted and task.end_ms <= now_ms:
            task.acted = True
            if task.action:
                self.world.do(task.action, task.begin_ms, task.end_ms, task.covered)

    def _answer(self, task: Task, now_ms: int) -> Utterance:
        task.tries += 1
        if task.tries > 1:
            self.lost_ms += now_ms - task.said_ms
        task.said_ms = now_ms
        self._mind.last = task
        meant = task.meant
        if meant == "value":
            text = task.value
        else:
            text = self.words[meant] if meant in self._own or not task.word else task.word
        if meant != "value" and self._lapse("wrong_word", now_ms):
            text = self.words[self._random.choice(("repeat", "where", "how_long", "no", "resume", "cancel"))]
        if task.covered == 0.85 and task.tries == 1 and self._chance(self.persona.errors.owns_up):
            self._mind.owns_up = True
        heard_of_sound = 0 if self._mind.told_of_sound else _LONGEST_LINE_MS
        end = self._speak(text, now_ms, meant, task.action, task.value)
        task.say_ms = end + round(self.persona.pace.patience_s * 1000) + heard_of_sound
        again = task.tries > 1 or task.meaning.text.lower().startswith("not taken")
        return Utterance(text, now_ms, 0.85 if again else 1.0)

    def _say_planned(self, plan: Saying, now_ms: int) -> Utterance | None:
        if plan.drop:
            self._abandon(now_ms)
        if plan.world:
            self._answering.happen(plan.world)
        if plan.meant in MISHAPS:
            self.happened.append((min(plan.at_ms, now_ms), plan.meant))
        if plan.meant == "started":
            task = self._at_hand()
            if task is None or task.acted or task.action is None or task.action.kind != u.WET:
                return None  # too late to matter
        if not plan.text:
            return None
        task = self._at_hand()
        action = task.action if task else None
        if plan.meant == "correction":
            self._abandon(now_ms)
        self._speak(plan.text, now_ms, plan.meant, action, "")
        return Utterance(plan.text, now_ms)

    def _speak(self, text: str, now_ms: int, meant: str, action: u.Action | None, value: str) -> int:
        end = now_ms + round(seconds(text, self.persona.voice.speed_wpm) * 1000)
        self.said.append(Said(text, now_ms, end, meant, action, value))
        self._mind.speaking_until_ms = end + 200
        self._mind.last_meant = meant
        self._mind.stopping = self._mind.stopping or meant == "stop"
        return end

    def _plan_cue(self, cue: Cue, at: int) -> None:
        mind = self._mind
        meant = cue.say if cue.say in self.words else "chat" if cue.say else ""
        text = self.words.get(cue.say, cue.say)
        if cue.surface:
            mind.surface = cue.surface
        mind.sayings.append(Saying(at + cue.after_ms, meant, text, cue.drop, cue.world))


_PASSING = (u.REWET, u.PAUSED, u.WHICH, u.POWER, u.WHAT_HAPPENED, u.STOPPING, u.AGREE, u.VALUE_BACK)
_HANDLERS = {
    u.OVER: Operator._over, u.WAIT: Operator._over, u.WITNESS: Operator._over,
    u.FROM_START: Operator._from_start, u.DRIED: Operator._dried, u.BACK_TO: Operator._back_to,
    u.NEWS: Operator._news, u.NOT_UNDERSTOOD: Operator._not_understood, u.REFUSED: Operator._refused,
}

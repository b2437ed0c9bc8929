"""How a virtual operator speaks: when it is quiet enough, which word it says, and what it says when that doesn't help."""

from __future__ import annotations

from collections.abc import Mapping

from assistant.language.vocabulary import MISHAPS
from assistant.practice.operator import understanding as u
from assistant.practice.operator.answering import Answering
from assistant.practice.operator.hands import SLIPPED, Hands
from assistant.practice.operator.lapses import Lapses
from assistant.practice.operator.mind import LONGEST_LINE_MS, Mind, Said, Saying, Task, Utterance
from assistant.practice.operator.persona import Persona
from assistant.speaking.estimate import seconds

_QUIET_MS = 700  # after the assistant's last sound, before a person starts to speak
_MOST_QUESTIONS = 6  # in a row, before stopping safely


class Mouth:
    """`said`: every utterance; `lost_ms`: spent on saying again what had been said; `happened`: mishaps on cue as
    (when, command id). `own`: the command ids this person says in its own words, whatever a prompt offers."""

    def __init__(
        self, persona: Persona, mind: Mind, hands: Hands, answering: Answering, lapses: Lapses, words: Mapping[str, str],
        own: frozenset[str],
    ) -> None:
        self._persona, self._mind, self._hands, self._answering, self._lapses = persona, mind, hands, answering, lapses
        self._words, self._own = words, own
        self.said: list[Said] = []
        self.lost_ms = 0
        self.happened: list[tuple[int, str]] = []

    def quiet(self, now_ms: int) -> bool:
        return now_ms >= self.quiet_ms()

    def quiet_ms(self) -> int:
        """From when on, if nothing more is heard, it will have been quiet for long enough to speak."""
        return max(self._mind.sounding_ms, self._mind.heard_ms) + _QUIET_MS

    def answer(self, task: Task, now_ms: int) -> Utterance:
        """Say what a task is answered with."""
        task.tries += 1
        if task.tries > 1:
            self.lost_ms += now_ms - task.said_ms
        task.said_ms = now_ms
        self._mind.last = task
        meant = task.meant
        if meant == "value":
            text = task.value
        else:
            text = self._words[meant] if meant in self._own or not task.word else task.word
        if meant != "value" and self._lapses.happens("wrong_word", now_ms):
            text = self._words[self._lapses.random.choice(("repeat", "where", "how_long", "no", "resume", "cancel"))]
        if task.covered == SLIPPED and task.tries == 1 and self._lapses.chance(self._persona.errors.owns_up):
            self._mind.owns_up = True
        heard_of_sound = 0 if self._mind.told_of_sound else LONGEST_LINE_MS
        end = self._speak(text, now_ms, meant, task.action, task.value)
        task.say_ms = end + round(self._persona.pace.patience_s * 1000) + heard_of_sound
        again = task.tries > 1 or task.meaning.text.lower().startswith("not taken")
        return Utterance(text, now_ms, 0.85 if again else 1.0)

    def say_planned(self, plan: Saying, now_ms: int) -> Utterance | None:
        """Say, and let happen, what was in mind; None where it is nothing to be said, or comes too late to matter."""
        if plan.drop:
            self._hands.abandon(now_ms)
        if plan.world:
            self._answering.happen(plan.world)
        if plan.meant in MISHAPS:
            self.happened.append((min(plan.at_ms, now_ms), plan.meant))
        task = self._hands.at_hand()
        if plan.meant == "started" and (task is None or task.acted or task.action is None or task.action.kind != u.WET):
            return None
        if not plan.text:
            return None
        if plan.meant == "correction":
            self._hands.abandon(now_ms)
        self._speak(plan.text, now_ms, plan.meant, task.action if task else None, "")
        return Utterance(plan.text, now_ms)

    def ask_where(self, task: Task | None, now_ms: int) -> Utterance:
        """Saying it again doesn't help: ask; and if asking doesn't help either, stop safely."""
        mind = self._mind
        mind.lost += 1
        mind.refusals = 0
        meant = "stop" if mind.lost > _MOST_QUESTIONS else "where"
        mind.stopping = mind.stopping or meant == "stop"
        end = self._speak(self._words[meant], now_ms, meant, None, "")
        if task is not None:
            task.tries = 0
            task.say_ms = end + round(self._persona.pace.patience_s * 1000) + LONGEST_LINE_MS
        return Utterance(self._words[meant], now_ms)

    def _speak(self, text: str, now_ms: int, meant: str, action: u.Action | None, value: str) -> int:
        end = now_ms + round(seconds(text, self._persona.voice.speed_wpm) * 1000)
        self.said.append(Said(text, now_ms, end, meant, action, value))
        self._mind.speaking_until_ms = end + 200
        self._mind.last_meant = meant
        self._mind.stopping = self._mind.stopping or meant == "stop"
        return end

"""A virtual operator: hears lines, acts in the simulated enclosure, answers in words. It has what a person has.

It is told no step ids and not what is listened for. Everything it says is either a word the assistant's own
sentence offered, or one of the few words every trained person knows. What a line leads to: `lines`; doing:
`hands`; speaking: `mouth`; chance: `lapses`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator import understanding as u
from assistant.practice.operator.answering import Answering
from assistant.practice.operator.channel import english
from assistant.practice.operator.cues import Cue, Cues
from assistant.practice.operator.hands import Hands
from assistant.practice.operator.lapses import Lapses
from assistant.practice.operator.lines import Lines
from assistant.practice.operator.mind import MOST_TRIES, Mind, Said, Saying, Utterance
from assistant.practice.operator.mouth import Mouth
from assistant.practice.operator.persona import Persona
from assistant.practice.operator.vocabulary import TRAINED

_AWAY_MS = 60_000  # how long somebody who ignores a line has their mind elsewhere
_WONDER_MS, _WAIT_WONDER_MS, _NEVER_MS = 40_000, 700_000, 10**12


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
        self.words = {word: forms[0] for word, forms in english().say.items() if word in TRAINED}
        self.words.update(words or {})
        self._cues = Cues(cues)
        self._mind = Mind(brief=brief)
        answering, lapses = Answering(world, dict(answers or {})), Lapses(persona, seed)
        self._hands = Hands(persona, world, self._mind, answering, lapses, self.words)
        self._lines = Lines(self._mind, self._hands, answering, lapses, world, self.words)
        self._mouth = Mouth(persona, self._mind, self._hands, answering, lapses, self.words, frozenset(words or ()))
        self.said: list[Said] = self._mouth.said
        self.lapses = lapses.happened  # known to the judge alone
        self.happened = self._mouth.happened  # mishaps on cue: (when, command id)

    @property
    def lost_ms(self) -> int:
        """Spent on saying again what had been said."""
        return self._mouth.lost_ms

    @property
    def over(self) -> bool:
        """It has heard that the session has ended."""
        return self._mind.over

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
            self._hands.abandon(ended_ms)
            mind.speaking_until_ms = ended_ms + _AWAY_MS
            return
        self._lines.heard(meaning, ended_ms)

    def sounding(self, now_ms: int) -> None:
        """The assistant is audible now: a polite person waits. Optional; without it a pause has to do."""
        self._mind.sounding_ms = max(self._mind.sounding_ms, now_ms)
        self._mind.told_of_sound = True

    def asks_again(self, at: int) -> None:
        """Something was said that this person isn't sure of: nothing is said once more before it has come again."""
        self._lines.asks_again(at)

    def _plan_cue(self, cue: Cue, at: int) -> None:
        mind = self._mind
        meant = cue.say if cue.say in self.words else "chat" if cue.say else ""
        text = self.words.get(cue.say, cue.say)
        if cue.surface:
            mind.surface = cue.surface
        mind.sayings.append(Saying(at + cue.after_ms, meant, text, cue.drop, cue.world))

    # Hands and mouth

    def next_action(self, now_ms: int) -> Utterance | None:
        """What begins by `now_ms` and wasn't handed out yet; None while silent. Call with rising times."""
        mind, mouth = self._mind, self._mouth
        self._hands.work(now_ms)
        if now_ms < mind.speaking_until_ms:
            return None
        due = min((s for s in mind.sayings if s.at_ms <= now_ms), key=lambda s: s.at_ms, default=None)
        if due is not None and (due.drop or mouth.quiet(now_ms)):
            mind.sayings.remove(due)
            return mouth.say_planned(due, now_ms)
        task = self._hands.at_hand()
        if task is None and self._puzzled_ms() <= now_ms and mouth.quiet(now_ms):
            return mouth.ask_where(None, now_ms)
        if task is None or not task.acted or task.say_ms > now_ms:
            return None
        if not mouth.quiet(now_ms) and not task.talks_over:
            task.say_ms = max(task.say_ms, mouth.quiet_ms())
            return None
        if task.tries >= MOST_TRIES:
            return mouth.ask_where(task, now_ms)
        return mouth.answer(task, now_ms)

    def next_ms(self) -> int | None:
        """When it will next do or say something if nothing more is heard; None if never."""
        mind, quiet_ms = self._mind, self._mouth.quiet_ms()
        found = [s.at_ms if s.drop else max(s.at_ms, quiet_ms) for s in mind.sayings]
        task = self._hands.at_hand()
        if task is not None and not task.begun:
            found.append(task.begin_ms)
        elif task is not None and not task.acted:
            found.append(task.end_ms)
        elif task is not None:
            found.append(task.say_ms)
        elif not mind.over:
            found.append(max(self._puzzled_ms(), quiet_ms))
        return max(min(found), mind.speaking_until_ms) if found else None

    def _puzzled_ms(self) -> int:
        """When, with nothing to do and nothing heard, a person begins to wonder."""
        mind = self._mind
        since = max(mind.heard_ms, mind.speaking_until_ms)
        return _NEVER_MS if mind.over else since + (_WAIT_WONDER_MS if mind.waiting else _WONDER_MS)

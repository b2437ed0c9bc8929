"""What a virtual operator answers: it looks at the enclosure and picks one of the words the sentence offered."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator import understanding as u
from assistant.practice.operator.saying import lot_words, number_words, value_words
from assistant.procedure.model.plan import READING

if TYPE_CHECKING:
    from assistant.practice.operator.mind import Task

_MOST_ASKED = 8  # more than all choices fill; then what was meant isn't among them, and the first is taken


class Answering:
    """Looks things up in the enclosure for the operator. `answers`: fragment of a question -> yes or no."""

    def __init__(self, world: EnclosureSim, answers: dict[str, bool]) -> None:
        self.world = world
        self.answers = {fragment.lower(): yes for fragment, yes in answers.items()}
        self._pack = ""  # the pack last spoken of
        self._kind = "number"
        self._given = ""  # the value last said
        self._said = 0  # signs of it that are said, where it is asked for sign by sign
        self._attempt = 0
        self._odd = 0  # how often in a row the same sign was said not to fit
        self._more = 0  # how often in a row others were asked for than the choices that were said
        self._untold = False  # a sign was said, and nothing was heard of it yet
        self._dries = ""  # the surface that was last said to dry time and again
        self._tried: dict[str, list[str]] = {}  # surface -> remedies chosen against its drying, in order
        self._remedy_open = False  # one was chosen, and nothing else was asked since
        self._gives_up = False  # the remedies are used up
        self.spelling = False  # asked for a value sign by sign

    def action(self, meaning: u.Meaning, last: Task | None) -> u.Action | None:
        """What is to be done before the answer."""
        if meaning.kind in (u.AGREE, u.VALUE_BACK):
            return last.action if last else None
        if meaning.kind in (u.WHICH, u.POWER, u.WHAT_HAPPENED):
            return None
        if meaning.text.lower().startswith(("not taken", "put it right")) and last and last.action:
            return last.action
        return self.world.names.action(meaning)

    def reply(self, meaning: u.Meaning, last: Task | None, surface: str, stopping: bool) -> tuple[str, str, str]:
        """(what is meant: a command id or "value"; the word the sentence offers for it; the value's words)."""
        agent = self.world.names.find(self.world.names.agents, meaning.text)
        if agent and (meaning.kind == u.VALUE or "pack" in meaning.text.lower()):  # in short wording: "Lot, disinfectant."
            self._pack = agent
        low = meaning.text.lower()
        if low.startswith("what shall we try?") and meaning.choices:
            return self._remedy(meaning)
        self._remedy_open = False
        signs = "at a time" in low or "say the next one" in low or "can't stand there" in low
        self.spelling = signs or meaning.kind == u.SIGN_BACK
        if meaning.kind == u.YES_NO:
            return self._either(meaning, self.question(meaning.text))
        if meaning.kind == u.AGREE:
            return self._either(meaning, meaning.what != "skip" and (self._stands(last) or self._answered_no(low, last)))
        if meaning.kind == u.VALUE_BACK:
            return self._either(meaning, same_value(self._given, meaning.what))
        if meaning.kind == u.VALUE:
            again = not meaning.what
            self._attempt = self._attempt + 1 if again else 0
            self._kind = meaning.what or self._kind
            if not again or not self._given:
                self._given = self.value(meaning.text, self._kind)
            if signs:
                return self._asked_for_a_sign(low)
            return "value", "", value_words(self._kind, self._given, self._attempt)
        if meaning.kind == u.SIGN_BACK:
            return self._next_sign(meaning.what)
        if meaning.kind == u.WHICH:
            return self._which(meaning, surface)
        if meaning.kind == u.POWER:
            return "enclosure", "", ""
        if meaning.kind == u.WHAT_HAPPENED:
            return "cancel", "", ""
        if meaning.kind == u.PAUSED:
            return "resume", meaning.yes, ""
        if meaning.kind == u.STOPPING:
            return ("confirm", meaning.yes, "") if stopping or self._gives_up else ("cancel", meaning.no, "")
        if meaning.kind == u.REWET:
            return "rewetted", meaning.yes, ""
        return "confirm", meaning.yes, ""

    def told(self, text: str) -> None:
        """A line that asks for nothing."""
        if re.search(r"has dried \d+ times", text):
            self._dries = self.world.names.find(self.world.names.surfaces, text)

    def seen(self, text: str) -> str:
        """What is on the gauge or the pack that a line asks to be read; "" where it asks for no reading."""
        meaning = u.understand(text)
        if meaning.kind != u.VALUE or not meaning.what:
            return ""
        self.reply(meaning, None, "", False)
        return self._given

    def _signs(self) -> str:
        return self._given.replace("-", "") if self._kind == "date" else self._given

    def _sign(self) -> tuple[str, str, str]:
        """The sign whose turn it is, or the word for the end."""
        if self._said >= len(self._signs()):
            self._untold = False
            return "confirm", "", ""
        self._untold = True
        words = lot_words if self._kind == "lot" else number_words
        return "value", "", words(self._signs()[self._said])

    def _asked_for_a_sign(self, low: str) -> tuple[str, str, str]:
        """The next sign; or the last one is taken back, where what is said to be there so far isn't what was meant. Who
        didn't make out what is there goes on from what they said: whoever asks for the next one has taken the last."""
        so_far = re.search(r"so far (.+?)\. say the next", low)
        there = _signs_of(so_far[1]).upper() if so_far else ""
        odd = "can't stand there" in low
        self._odd = self._odd + 1 if odd else 0
        if (so_far and not self._signs().startswith(there)) or self._odd >= 2:
            return "correction", "", ""
        if so_far or "at a time" in low:
            self._said = len(there)
        elif self._untold and not odd:
            self._said += 1
        return self._sign()

    def _next_sign(self, heard: str) -> tuple[str, str, str]:
        """After a sign was said back: the next one where it was right, else it is taken back."""
        wanted = self._signs()[self._said:self._said + 1]
        if _signs_of(heard) != wanted:
            return "correction", "", ""
        self._untold = False
        self._said += 1
        return self._sign()

    @staticmethod
    def _either(meaning: u.Meaning, yes: bool) -> tuple[str, str, str]:
        return ("confirm", meaning.yes, "") if yes else ("no", meaning.no, "")

    @staticmethod
    def _stands(last: Task | None) -> bool:
        """A person stands by what they meant to claim a moment ago; what was never claimed is denied."""
        return last is None or last.meant in ("confirm", "rewetted")

    def _answered_no(self, text: str, last: Task | None) -> bool:
        """An answer at the start that drops a safeguard is read back: whoever said "no" stands by that too."""
        claims = [option.claim.lower() for option in self.world.plan.options if option.claim]
        return last is not None and last.meant == "no" and any(claim in text for claim in claims)

    def question(self, text: str) -> bool:
        """Yes or no, by looking."""
        low, world = text.lower(), self.world
        for fragment, yes in self.answers.items():
            if fragment in low:
                return yes
        if re.match(r"(is|are) the .* (open|closed)\?", low):
            opening = world.names.find(world.names.openings, text)
            wanted = "open" if " open?" in low else "closed"
            return not opening or world.openings[opening] == wanted
        for fragment, hands in (("in the gauntlets?", "gauntlets"), ("outside the enclosure?", "room"),
                                ("through the window?", "window")):
            if low.startswith("are ") and fragment in low:
                return world.hands == hands
        return True

    def value(self, text: str, kind: str) -> str:
        """What is to be read off: a gauge, or the lot or date on the pack spoken of."""
        if kind == "number":
            low = text.lower()
            steps = [*self.world.plan.steps, *(s for m in self.world.plan.mishaps.values() for s in m.steps)]
            readings = [s for s in steps if s.kind == READING]
            step = next((s for s in readings if s.say.lower() in low or (s.brief and s.brief.lower() in low)), None)
            step = step or (readings[0] if readings else None)
            return self.world.reading(step.low, step.high) if step else "1"
        lot, expiry = self.world.label(self._pack, self.world.plan.today)
        return lot if kind == "lot" else expiry

    def _which(self, meaning: u.Meaning, surface: str) -> tuple[str, str, str]:
        name = self.world.plan.surfaces[surface].name.lower() if surface in self.world.plan.surfaces else ""
        names = [choice.lower() for choice in meaning.choices]
        if name and name not in names and meaning.more and self._more < _MOST_ASKED:
            self._more += 1
            return "value", "", number_words("0")
        self._more = 0
        number = meaning.first + (names.index(name) if name in names else 0)
        return "value", "", number_words(str(number))

    def _remedy(self, meaning: u.Meaning) -> tuple[str, str, str]:
        """The first remedy not tried yet on that surface, since what didn't help once isn't tried for ever; the last one is to stop. A
        question that comes again with nothing in between wasn't answered: the same again."""
        tried = self._tried.setdefault(self._dries, [])
        if not self._remedy_open or not tried:
            fresh = [choice for choice in meaning.choices if choice not in tried]
            tried.append(fresh[0] if fresh else meaning.choices[-1])
        self._remedy_open = True
        chosen = tried[-1]
        at = meaning.choices.index(chosen) if chosen in meaning.choices else len(meaning.choices) - 1
        self._gives_up = "stop" in meaning.choices[at].lower()
        return "value", "", number_words(str(meaning.first + at))

    def happen(self, what: str) -> None:
        """Something befalls the enclosure: see `Cue.world`."""
        kind, _, subject = what.partition(":")
        if kind == "spoil":
            self.world.spoil(subject)
        elif kind == "dry":
            self.world.surfaces[subject].film = None
        elif kind == "early":
            self.world.early.add(subject)
        elif kind == "pressure":
            self.world.outside = True
        elif kind == "pressure_back":
            self.world.outside = False
        elif kind == "power":
            self.world.break_cycles()
        else:
            raise ValueError(f"nothing happens so: {what!r}")


_SIGNS = {**{lot_words(chr(65 + k)): chr(65 + k) for k in range(26)}, "dash": "-", "minus": "-", "point": "."}


def _signs_of(text: str) -> str:
    """Signs said back, as written: "bravo dash 4 1" -> "B-41"."""
    return "".join(_SIGNS.get(word.lower(), word) for word in text.split())


def same_value(given: str, read_back: str) -> bool:
    """Whether what was read back is what was said; spaces, unit and letter case aside."""
    def bare(text: str) -> str:
        return re.sub(r"\s+", "", text).upper()

    back = bare(_signs_of(read_back))
    rest = back[len(bare(given)):]
    return back.startswith(bare(given)) and not re.match(r"[\d.]", rest)

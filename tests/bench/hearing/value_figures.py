"""Numbers and lots: turns to an accepted value, and wrong values accepted after their read back.

A dialogue as the session holds it: the value is said; what was understood is read back; the person says yes when it is
right and no when it isn't, in the pack's words. After two failed strings it goes sign by sign (minus and point are signs
too), each echoed and the whole read back at the end; after two failed rounds of that, the keys. Every answer is real sound
through the whole chain.
"""

from __future__ import annotations

import math
import statistics
from dataclasses import dataclass

import numpy as np

from assistant.hearing.values import letters, numbers
from assistant.hearing.values.spelling import Spelling
from assistant.language import vocabulary as words
from tests.bench.hearing import voices
from tests.bench.hearing.mixing import mix
from tests.bench.hearing.rates import rate

STRING_TRIES, SIGN_TRIES, SAME_SIGN_TRIES = 2, 2, 3
ANSWER_TRIES = 3
# What can be answered while a value is asked for, as near as hearing alone knows it.
BESIDE_A_VALUE = frozenset((*words.QUESTIONS, *words.MANNERS, *words.MISHAPS, words.STOP, words.KEYS, words.CORRECTION))
CONDITIONS: tuple[tuple[str, float | None], ...] = (("clean", None), ("15 dB", 15.0))


def value_figures(make, voice_list: tuple[str, ...], count: int, say) -> dict[str, object]:
    """`count` values in all, half of them lots, in turn over conditions and voices. `make` gives a fresh listener.

    A value that went to the keys counts as more turns than any other, so that the median hides none. `answers`: how
    often a word after a read back was heard as what it was, which is most of the turns where values are heard well.
    """
    rng = np.random.default_rng(77)
    cells = [(kind, name, snr) for name, snr in CONDITIONS for kind in ("number", "lot")]
    found: dict[str, list[_Done]] = {f"{kind}, {name}": [] for kind, name, _ in cells}
    for k in range(count):
        kind, name, snr = cells[k % len(cells)]
        text = _number(rng) if kind == "number" else _lot(rng)
        talk = _Talk(make(), voice_list[k // len(cells) % len(voice_list)], snr, int(rng.integers(1 << 30)))
        found[f"{kind}, {name}"].append(_dialogue(talk, kind, text))
        if (k + 1) % 20 == 0 or k + 1 == count:
            say(f"{k + 1} of {count} values: {sum(d.wrong for every in found.values() for d in every)} wrong accepted")
    out: dict[str, object] = {cell: _summary(done) for cell, done in found.items() if done}
    everything = [d for done in found.values() for d in done]
    for name, _ in CONDITIONS:
        turns = [d.turns_or_keys for cell, done in found.items() if cell.endswith(name) for d in done]
        out[f"median_turns, {name}"] = _median(turns)
    out["wrong_accepted_after_read_back"] = rate(sum(d.wrong for d in everything), len(everything))
    out["wrong_read_back"] = rate(sum(d.read_back_wrong for d in everything), sum(d.read_back for d in everything))
    out["voices"] = list(voice_list)
    return out


@dataclass(frozen=True)
class _Done:
    """How one value went. `accepted` None: the keys. `answered`: answers heard as what they were, of those given."""

    text: str
    accepted: str | None
    turns: int
    first_right: bool
    answered: tuple[int, int]
    read_back: int
    read_back_wrong: int

    @property
    def wrong(self) -> bool:
        return self.accepted is not None and self.accepted != self.text

    @property
    def turns_or_keys(self) -> float:
        return math.inf if self.accepted is None else self.turns


def _summary(done: list[_Done]) -> dict[str, object]:
    return {
        "median_turns": _median([d.turns_or_keys for d in done]), "to_the_keys": rate(sum(d.accepted is None for d in done), len(done)),
        "first_try_right": rate(sum(d.first_right for d in done), len(done)),
        "answers": rate(sum(d.answered[0] for d in done), sum(d.answered[1] for d in done)),
        "wrong_accepted": rate(sum(d.wrong for d in done), len(done)),
    }


def _median(turns: list[float]) -> float | None:
    """None where the median value went to the keys, or there is none."""
    middle = statistics.median(turns) if turns else math.inf
    return None if math.isinf(middle) else middle


def _number(rng: np.random.Generator) -> str:
    whole = str(rng.integers(0, 300))
    return ("-" if rng.random() < 0.3 else "") + whole + (f".{rng.integers(0, 10)}" if rng.random() < 0.5 else "")


def _lot(rng: np.random.Generator) -> str:
    a = "".join(chr(65 + int(k)) for k in rng.integers(0, 26, 2))
    return a + "".join(str(k) for k in rng.integers(0, 10, 4))


class _Talk:
    """One person and one listener; each `say` is one turn of real sound."""

    def __init__(self, listener, voice: str, snr: float | None, seed: int) -> None:
        self.listener, self.voice, self.snr, self.seed = listener, voice, snr, seed
        self.turns = 0
        self.first: str | None = None          # what the first string was heard as
        self.answered = [0, 0]
        self.read_back = [0, 0]                # wrong, all

    def say(self, text: str, active: frozenset[str], expect: str | None):
        self.turns += 1
        self.seed += 1
        self.listener.set_active(active, expect)
        pcm, _ = mix([("", text, voices.render(text, self.voice))], self.snr, self.seed, "report")
        found = [u for u in self.listener.feed(pcm) if u.accepted]
        return found[0] if len(found) == 1 else None

    def value(self, text: str, expect: str) -> str | None:
        heard = self.say(text, BESIDE_A_VALUE, expect)
        found = heard.value.text if heard is not None and heard.value is not None else None
        self.first = found if self.turns == 1 else self.first
        return found

    def command(self, word: str, expect: str | None = None) -> str | None:
        """The command as the pack says it, and what was heard."""
        heard = self.say(self.listener.pack.say[word][0], words.ALL, expect)
        self.answered[0] += heard is not None and heard.word == word
        self.answered[1] += 1
        return heard.word if heard is not None else None

    def confirmed(self, right: bool) -> bool:
        """The value is read back and the person answers truthfully, some times until the answer is heard."""
        self.read_back[0] += not right
        self.read_back[1] += 1
        for _ in range(ANSWER_TRIES):
            answer = self.command(words.CONFIRM if right else words.NO)
            if answer in (words.CONFIRM, words.NO, words.CORRECTION):
                return answer == words.CONFIRM
        return False


def _dialogue(talk: _Talk, kind: str, text: str) -> _Done:
    parts = numbers.parts(text) if kind == "number" else letters.parts(text)
    accepted = _whole(talk, kind, text, parts)
    for _ in range(SIGN_TRIES):
        if accepted is None:
            spelt = _spelt(talk, kind, text, parts)
            accepted = spelt if spelt is not None and talk.confirmed(spelt == text) else None
    return _Done(text, accepted, talk.turns, talk.first == text, tuple(talk.answered), talk.read_back[1], talk.read_back[0])


def _whole(talk: _Talk, kind: str, text: str, parts: tuple[str, ...]) -> str | None:
    for _ in range(STRING_TRIES):
        heard = talk.value(" ".join(parts), kind)
        if heard is not None and talk.confirmed(heard == text):
            return heard
    return None


def _spelt(talk: _Talk, kind: str, text: str, parts: tuple[str, ...]) -> str | None:
    """One round of signs: each is echoed at once, a wrong one is taken back by "correction" and said again."""
    spelling = Spelling(kind)
    for part, sign in zip(parts, text, strict=True):
        for _ in range(SAME_SIGN_TRIES):
            heard = talk.value(part, spelling.expect)
            if heard is None or not spelling.add(heard):
                continue
            if heard == sign:
                break
            for _ in range(ANSWER_TRIES):
                if talk.command(words.CORRECTION, spelling.expect) == words.CORRECTION:
                    break
            else:
                return None
            spelling.undo()
        else:
            return None
    return spelling.value()

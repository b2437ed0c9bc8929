"""Numbers and lots: turns to an accepted value, and wrong values accepted after their read back.

A dialogue as the session holds it: the value is said; what was understood is read back; the person says confirm when it is
right, negative when it isn't. After two failed strings it goes sign by sign (minus and point are signs too), each echoed and
the whole read back at the end; after two failed rounds of that, the keys. Every answer is real sound through the whole chain.
"""

from __future__ import annotations

import statistics

import numpy as np

from assistant.hearing import letters, numbers
from assistant.hearing.frames import RATE_HZ
from assistant.hearing.spelling import Spelling

from . import voices
from .mixing import mix
from .rates import rate

STRING_TRIES, SIGN_TRIES, SAME_SIGN_TRIES = 2, 2, 3
CONDITIONS: tuple[tuple[str, float | None], ...] = (("clean", None), ("15 dB", 15.0))


def value_figures(make, voice_list: tuple[str, ...], count: int, say) -> dict[str, object]:
    """`count` values in all, half of them lots, spread over voices and conditions."""
    rng = np.random.default_rng(77)
    out: dict[str, object] = {}
    wrong = total = 0
    for name, snr in CONDITIONS:
        for kind in ("number", "lot"):
            turns: list[int] = []
            keys = first_right = 0
            each = max(1, count // 4)
            for k in range(each):
                text = _number(rng) if kind == "number" else _lot(rng)
                talk = _Talk(make(), voice_list[k % len(voice_list)], snr, int(rng.integers(1 << 30)))
                accepted, taken, first = _dialogue(talk, kind, text)
                total += 1
                first_right += first
                if accepted is None:
                    keys += 1
                else:
                    turns.append(taken)
                    wrong += accepted != text
            out[f"{kind}, {name}"] = {"median_turns": statistics.median(turns) if turns else None, "to_the_keys": rate(keys, each),
                                      "first_try_right": rate(first_right, each)}
            say(f"{kind} {name}: {out[f'{kind}, {name}']}")
    out["wrong_accepted_after_read_back"] = rate(wrong, total)
    return out


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

    def say(self, text: str, active: frozenset[str], expect: str | None):
        self.turns += 1
        self.seed += 1
        self.listener.set_active(active, expect)
        pcm, _ = mix([("", text, voices.render(text, self.voice))], self.snr, self.seed, "report")
        pcm += bytes(RATE_HZ // 2)
        found = [u for u in self.listener.feed(pcm) if u.accepted]
        return found[0] if len(found) == 1 else None


def _dialogue(talk: _Talk, kind: str, text: str) -> tuple[str | None, int, bool]:
    parts = numbers.parts(text) if kind == "number" else letters.parts(text)
    first = False
    for attempt in range(STRING_TRIES):
        heard = talk.say(" ".join(parts), frozenset({"repeat", "correction"}), kind)
        if heard is None or heard.value is None:
            continue
        first = first or (attempt == 0 and heard.value.text == text)
        if _confirmed(talk, heard.value.text == text):
            return heard.value.text, talk.turns, first
    for _ in range(SIGN_TRIES):
        whole = _spelt(talk, kind, text, parts)
        if whole is not None and _confirmed(talk, whole == text):
            return whole, talk.turns, first
    return None, talk.turns, first


def _spelt(talk: _Talk, kind: str, text: str, parts: tuple[str, ...]) -> str | None:
    """One round of signs: each is echoed at once, a wrong one is taken back by "correction" and said again."""
    spelling = Spelling(kind)
    for part, sign in zip(parts, text, strict=True):
        for _ in range(SAME_SIGN_TRIES):
            heard = talk.say(part, frozenset({"repeat", "correction"}), spelling.expect)
            if heard is None or heard.value is None or not spelling.add(heard.value.text):
                continue
            if heard.value.text == sign:
                break
            undo = talk.say("correction", frozenset({"repeat", "correction"}), spelling.expect)
            if undo is None or undo.word != "correction":
                return None
            spelling.undo()
        else:
            return None
    return spelling.value()


def _confirmed(talk: _Talk, right: bool) -> bool:
    """The person answers the read back truthfully, up to three times until something is heard."""
    for _ in range(3):
        answer = talk.say("confirm" if right else "negative", frozenset({"confirm", "no"}), None)
        if answer is not None:
            return answer.word == "confirm"
    return False

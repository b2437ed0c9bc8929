"""What a person makes of the assistant's English: what is asked, which words answer it, what is to be done.

Only the sentence itself is looked at, as a listener has nothing else. The names of surfaces, doors and machines
are those written on the enclosure, which whoever stands before it knows.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from assistant.procedure.model.plan import Plan

(DO, WIPE, YES_NO, AGREE, VALUE, VALUE_BACK, REWET, WHICH, POWER, WHAT_HAPPENED, STOPPING, PAUSED, WAIT, BACK_TO,
 REFUSED, NOT_UNDERSTOOD, FROM_START, DRIED, OVER, WITNESS, NEWS, SIGN_BACK) = (
    "do", "wipe", "yes_no", "agree", "value", "value_back", "rewet", "which", "power", "what_happened", "stopping",
    "paused", "wait", "back_to", "refused", "not_understood", "from_start", "dried", "over", "witness", "news",
    "sign_back",
)
# What leaves something to be done or said; everything else is news.
DEMANDS = frozenset((DO, WIPE, YES_NO, AGREE, VALUE, VALUE_BACK, REWET, WHICH, POWER, WHAT_HAPPENED, STOPPING, PAUSED, SIGN_BACK))


@dataclass(frozen=True, slots=True)
class Meaning:
    """`kind`: one of the constants. `yes`, `no`: the words the sentence itself offers as answers. `what`: the value
    or claim read back, the kind of value wanted, or the surface named. `choices`: numbered choices, in order; `first`: the
    first one's number; `more`: the sentence offers others."""

    kind: str
    text: str
    yes: str = ""
    no: str = ""
    what: str = ""
    choices: tuple[str, ...] = ()
    first: int = 1
    more: bool = False


_WORD = r"([a-z][a-z' ]*?)"


def _find(pattern: str, text: str) -> re.Match[str] | None:
    return re.search(pattern, text, re.IGNORECASE)


@lru_cache(maxsize=16_384)  # the same lines come in every session
def understand(text: str) -> Meaning:
    """The meaning of one spoken line of the assistant; kind NEWS where it asks for nothing."""
    for pattern, kind in _PLAIN:
        if _find(pattern, text):
            return Meaning(kind, text)
    for pattern, build in _RULES:
        found = _find(pattern, text)
        if found:
            return build(text, found)
    return Meaning(NEWS, text)


_PLAIN = (
    (r"^the clean is complete|has ended incomplete|^stopped\.|^leave now|we stop here|the session has ended", OVER),
    (r"a second person must confirm", WITNESS),
    (r"^not now\.", REFUSED),
    (r"didn't understand|don't understand|nothing has been confirmed", NOT_UNDERSTOOD),
    (r"has dried by now", FROM_START),
    (r"dried before its time was over", DRIED),
    (r"\bto wait for\b|^now we wait", WAIT),
)


def at_that(what: str, yes: str, no: str) -> Meaning:
    """What a step's own sentence asks for when the words that usually follow it are left out."""
    low = what.lower()
    if low.startswith(("wait", "now we wait")):
        return Meaning(WAIT, what)
    if re.match(r"read the .*\blot\b|lot\b", low):
        return Meaning(VALUE, what, what="lot")
    if re.match(r"read the .*\b(expiry|date)\b|expiry", low):
        return Meaning(VALUE, what, what="date")
    if "?" in low.split(".")[0] or re.search(r"\?\s*$", low.split(" wet now:")[0]):
        return Meaning(YES_NO, what, yes, no)
    if re.match(r"(wait for the needle.*)?read the\b|pressure\b", low):
        return Meaning(VALUE, what, what="number")
    return Meaning(WIPE if re.search(r"\bwipe the\b", low) else DO, what, yes)


def _yes_no(text: str, found: re.Match[str]) -> Meaning:
    return Meaning(YES_NO, text, found[1].strip(), found[2].strip())


def _which(text: str, _found: re.Match[str]) -> Meaning:
    numbered = re.findall(r"(\d+): ([^.]+)\.", text)
    return Meaning(
        WHICH, text, choices=tuple(name.strip() for _, name in numbered), first=int(numbered[0][0]) if numbered else 1,
        more="zero for more" in text.lower(),
    )


_RULES = (
    (r"say one (letter or )?digit|say the date in digits|say the next one, or|say the wrong part", lambda t, m: Meaning(VALUE, t)),
    (r"(?:^back to|you are at): (.*)", lambda t, m: Meaning(BACK_TO, t, what=m[1])),
    (r"^(?:which one|what shall we try)\?.*say the number", _which),
    (rf"which power.*say {_WORD}, or {_WORD}\.|computer and enclosure|computer and the enclosure|computer or the enclosure",
     lambda t, m: Meaning(POWER, t)),
    (r"^what happened\?", lambda t, m: Meaning(WHAT_HAPPENED, t)),
    (rf"^paused\..*say {_WORD} to go on", lambda t, m: Meaning(PAUSED, t, m[1])),
    (rf"say {_WORD} when it is safe, or {_WORD} to go on", lambda t, m: Meaning(STOPPING, t, m[1], m[2])),
    (rf"^wet the (.+?) again (?:now|first)\. say {_WORD} when", lambda t, m: Meaning(REWET, t, m[2], what=m[1])),
    (rf"say {_WORD} for yes,? or {_WORD} for no", _yes_no),
    (rf"^i understood: (.+?)\. say {_WORD} again,? or {_WORD}\.", lambda t, m: Meaning(AGREE, t, m[2], m[3], m[1])),
    (rf"say {_WORD} again,? or {_WORD}\.", lambda t, m: Meaning(AGREE, t, m[1], m[2])),
    (rf"^i understood (.+?)\. say {_WORD},? or {_WORD}\.", lambda t, m: Meaning(VALUE_BACK, t, m[2], m[3], m[1])),
    (rf"say {_WORD} to skip,? or {_WORD}", lambda t, m: Meaning(AGREE, t, m[1], m[2], "skip")),
    (r"say the (number|lot|date)", lambda t, m: Meaning(VALUE, t, what=m[1].lower())),
    (r"say it again", lambda t, m: Meaning(VALUE, t)),
    (r"^(\d|minus|point|dash|[a-z]{4,8}|x-ray)\.$", lambda t, m: Meaning(SIGN_BACK, t, what=m[1])),
    (rf"say {_WORD} when all of it is wet", lambda t, m: Meaning(WIPE, t, m[1])),
    (rf"say {_WORD} when", lambda t, m: Meaning(DO, t, m[1])),
    (rf"then say {_WORD}\.", lambda t, m: Meaning(DO, t, m[1])),
    (rf"say {_WORD},? or {_WORD}\.$", _yes_no),
)

WET, PATCH, WATCH, OPEN, CLOSE, START, HANDS, SET, READ, LOOK, WORK = (
    "wet", "patch", "watch", "open", "close", "start", "hands", "set", "read", "look", "work",
)


@dataclass(frozen=True, slots=True)
class Action:
    """Something done at the enclosure. `subject`: surface, opening or cycle id, a reach, or the sentence itself. PATCH:
    a hand's breadth of a surface is wetted; WATCH: it is looked at until it has dried.
    `fresh`: a new wipe or face is taken for it."""

    kind: str
    subject: str = ""
    agent: str = ""
    fresh: bool = True
    sentences: int = 1


Table = tuple[tuple[str, str], ...]  # (name as written on the enclosure, in small letters; id), each name once


def _table(pairs: Iterable[tuple[str, str]]) -> Table:
    return tuple(dict(pairs).items())


@lru_cache(maxsize=16_384)
def _find_name(table: Table, text: str) -> str:
    """The id of the longest name of `table` in `text`, or ""."""
    low = text.lower()
    fitting = [(len(name), number) for number, (name, _) in enumerate(table) if re.search(rf"\b{re.escape(name)}\b", low)]
    return table[max(fitting, key=lambda one: one[0])[1]][1] if fitting else ""


class Names:
    """The names on the enclosure, found in a sentence. The longest name that fits counts."""

    def __init__(self, plan: Plan) -> None:
        self.surfaces = _table((s.name.lower(), s.id) for s in plan.surfaces.values())
        self.openings = _table((o.name.lower(), o.id) for o in plan.openings.values())
        self.trays = _table((plan.surfaces[o.lifts].name.lower(), o.id) for o in plan.openings.values() if o.lifts)
        self.cycles = _table((c.name.lower(), c.id) for c in plan.cycles.values())
        self.agents = _table((s.agent_name.lower(), s.agent) for s in plan.steps if s.agent_name)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Names) and self._tables() == other._tables()

    def __hash__(self) -> int:
        return hash(self._tables())

    def _tables(self) -> tuple[Table, ...]:
        return self.surfaces, self.openings, self.trays, self.cycles, self.agents

    find = staticmethod(_find_name)

    @lru_cache(maxsize=16_384)  # noqa: B019 - equal names stand for one another, so sessions share what is found
    def action(self, meaning: Meaning) -> Action:
        """What the sentence asks to be done."""
        body = re.split(r"\bsay ", meaning.text, maxsplit=1, flags=re.IGNORECASE)[0]
        low = body.lower()
        surface = self.find(self.surfaces, body)
        if "patch has dried" in meaning.text.lower():
            return Action(WATCH)
        if surface and "hand's breadth" in low:
            return Action(PATCH, surface, self.find(self.agents, body))
        if meaning.kind in (WIPE, REWET) and surface:
            fresh = bool(re.search(r"new wipe|fresh face", low)) or "face" not in low
            return Action(WET, surface, self.find(self.agents, body), fresh)
        opening = self.find(self.openings, body)
        if opening and re.search(r"(?:^|\. )open ", low):
            return Action(OPEN, opening)
        if opening and re.search(r"(?:^|\. )close ", low):
            return Action(CLOSE, opening)
        tray = self.find(self.trays, body)
        if tray and re.search(r"(?:^|\. )lay the .* back", low):
            return Action(CLOSE, tray)
        if tray and re.search(r"(?:^|\. )(?:lift|slide) the ", low):
            return Action(OPEN, tray)
        cycle = self.find(self.cycles, body)
        if cycle and ("start" in low or low.startswith("keep ")):
            return Action(START, cycle)
        if "hands into the gauntlets" in low or "hands in the gauntlets" in low:
            return Action(HANDS, "gauntlets")
        if "reach in through" in low or "work through the open window" in low:
            return Action(HANDS, "window")
        if re.search(r"\bhands?\b[^.]*\bout\b", low):
            return Action(HANDS, "room")
        if low.startswith("set "):
            return Action(SET, body)
        sentences = max(1, len(re.findall(r"[.?!]", body)))
        if meaning.kind == VALUE:
            return Action(READ, body, sentences=sentences)
        return Action(LOOK if meaning.kind == YES_NO else WORK, body, sentences=sentences)

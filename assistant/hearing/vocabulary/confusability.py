"""How easily two words of the vocabulary are taken for each other, by their pronunciation."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

from assistant.hearing.vocabulary.lexicon import bundled_dictionary_path, dictionary, pronounce
from assistant.hearing.vocabulary.packs import Pack
from assistant.hearing.vocabulary.phones import likeness

TOO_CLOSE = 0.75
FEWEST_SOUNDS = 4        # "no", "go": too short to be told from noise


@dataclass(frozen=True)
class Pair:
    """Two spoken forms of different commands. `likeness`: 0 nothing in common, 1 the same."""

    a: str
    b: str
    ids: tuple[str, str]
    likeness: float

    @property
    def too_close(self) -> bool:
        return self.likeness >= TOO_CLOSE


def pairs(pack: Pack) -> list[Pair]:
    """All pairs of forms of different commands, most confusable first. English only (needs the dictionary)."""
    known = dictionary(bundled_dictionary_path())
    sounds = {f: pronounce(f, known, pack.pronunciations) for f in pack.forms}
    found = []
    for a, b in combinations(pack.forms, 2):
        ids = (pack.word_of(a) or "", pack.word_of(b) or "")
        if ids[0] != ids[1]:
            found.append(Pair(a, b, ids, round(max(likeness(x, y) for x in sounds[a] for y in sounds[b]), 3)))
    found.sort(key=lambda p: (-p.likeness, p.a, p.b))
    return found


def check_form(pack: Pack, word_id: str, form: str) -> list[str]:
    """What speaks against a site's own form for a command, in plain words; empty when nothing does.

    Raises ModelError when the dictionary doesn't know one of its words.
    """
    known = dictionary(bundled_dictionary_path())
    mine = pronounce(form, known, pack.pronunciations)
    against = []
    if min(len(m.split()) for m in mine) < FEWEST_SOUNDS:
        against.append(f"'{form}' is too short to be told from noise. Choose one of two syllables or more.")
    for other in pack.forms:
        if pack.word_of(other) == word_id:
            continue
        close = max(likeness(a, b) for a in mine for b in pronounce(other, known, pack.pronunciations))
        if close >= TOO_CLOSE:
            against.append(f"'{form}' sounds too much like '{other}' ({pack.word_of(other)}): {close:.2f}, "
                           f"allowed below {TOO_CLOSE}.")
    return against


def suggestions(pack: Pack, word_id: str, count: int = 3) -> list[str]:
    """Tried forms for a command that stand far from all others, for a site whose own was refused."""
    tried = [*pack.say.get(word_id, ()), *ALTERNATIVES.get(word_id, ())]
    scored = []
    for form in dict.fromkeys(tried):
        if not check_form(pack, word_id, form):
            scored.append(form)
    return scored[:count]


# Forms that held in the first measurement beside the ones in use.
ALTERNATIVES = {
    "started": ("begin contact", "started wiping"), "stop": ("emergency stop",),
    "slower": ("speak slower",), "louder": ("louder please",), "still_wet": ("surface still wet",), "where": ("which step",),
    "whats_next": ("following step", "what's next"), "why": ("explain that",), "brief": ("brief mode",),
    "full": ("full sentences",), "keys": ("use the keys",), "spill": ("spillage",), "wipe_reused": ("dirty wipe",),
    "agent_out": ("out of agent",), "unwell": ("feeling unwell",), "hand_over": ("hand over",), "fire": ("evacuate",),
    "touched": ("surface touched",), "correction": ("that was wrong",), "skip": ("leave this out",),
}

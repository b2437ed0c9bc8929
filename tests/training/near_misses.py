"""Words that sound like a command and aren't one: the nearest words of the dictionary, found by the same script each time."""

from __future__ import annotations

from functools import lru_cache

from assistant.hearing.vocabulary.lexicon import bundled_dictionary_path, dictionary, pronounce
from assistant.hearing.vocabulary.packs import Pack
from assistant.hearing.vocabulary.phones import likeness
from tests.bench.hearing import sentences
from tests.training.build_fillers import ranked

AMONG_COMMONEST = 12_000
SAME_AS = 0.93           # nearer than this can't be told apart even by people ("reseed" for "recede")

_NEAR: dict[tuple, list[tuple[str, float]]] = {}


def near(form: str, pack: Pack, count: int) -> list[tuple[str, float]]:
    """(word, likeness) of the `count` nearest dictionary words to a spoken form, nearest first."""
    key = (form, tuple(pack.forms), count)
    if key in _NEAR:
        return _NEAR[key]
    known = dictionary(bundled_dictionary_path())
    target = pronounce(form, known, pack.pronunciations)[0]
    size = len(target.split())
    own = set(pack.forms) | {w for f in pack.forms for w in f.split()}
    found = []
    for word in _common():
        if word in own:
            continue
        phones = known[word][0]
        if abs(len(phones.split()) - size) > 2:
            continue
        like = likeness(target, phones)
        if like < SAME_AS:
            found.append((like, word))
    found.sort(key=lambda pair: (-pair[0], pair[1]))
    _NEAR[key] = [(w, p) for p, w in found[:count]]
    return _NEAR[key]


@lru_cache(maxsize=1)
def _common() -> tuple[str, ...]:
    known = dictionary(bundled_dictionary_path())
    return tuple(w for w, _ in ranked(AMONG_COMMONEST) if w in known and len(known[w][0].split()) > 2)


SPLITS = {"report": 0, "decoys": 1, "tune": 2}


def near_misses(pack: Pack, split: str, per_form: int = 4) -> list[str]:
    """Each form's nearest words dealt out in turn: to report on, to listen for as decoys, to tune on.

    So the reported near misses are never among the decoys.
    """
    out: list[str] = []
    for form in pack.forms:
        out += [w for w, _ in near(form, pack, 3 * per_form)][SPLITS[split]::3]
    taken = set()
    for other in SPLITS:
        if other == split:
            break
        taken |= set(near_misses(pack, other, per_form))
    return [w for w in dict.fromkeys(out) if w not in taken]


# Of a word's nearest, which are put in its place.
PHRASE_RANKS = {"report": (0,), "tune": (1, 2), "listened for": (3,)}


def near_phrases(pack: Pack, split: str) -> list[str]:
    """Each command of several words with one of them, and then all, replaced by a word like it: "pleasure alarm",
    "pressure along", "pleasure along". Those to tune on and those to report on have no replacement in common."""
    known = dictionary(bundled_dictionary_path())
    out: list[str] = []
    for form in (f for f in pack.forms if " " in f):
        words = form.split()
        for rank in PHRASE_RANKS[split]:
            like = [_like(word, pack, rank) if len(known[word][0].split()) > 2 else None for word in words]
            for k, other in enumerate(like):
                if other is not None:
                    out.append(" ".join([*words[:k], other, *words[k + 1:]]))
            if sum(other is not None for other in like) > 1:
                out.append(" ".join(other or word for word, other in zip(words, like, strict=False)))
    return [phrase for phrase in dict.fromkeys(out) if pack.word_of(phrase) is None]


def _like(word: str, pack: Pack, rank: int) -> str | None:
    found = near(word, pack, 4)
    return found[rank][0] if len(found) > rank else None


def decoys(pack: Pack) -> list[str]:
    """The pack's `decoys` as stored: each form's share of near words, and many more for words that confirm.

        python -m tests.training.near_misses
    """
    from assistant.language import vocabulary as words

    held_out = set(near_misses(pack, "report")) | set(near_misses(pack, "tune"))
    found = near_misses(pack, "decoys")
    for word_id in sorted(words.CONFIRMING):
        for form in pack.say.get(word_id, ()):
            found += [w for w, _ in near(form, pack, MORE_FOR_CONFIRMING)]
    return [w for w in dict.fromkeys(found) if w not in held_out]


MORE_FOR_CONFIRMING = 40

NEAR_EACH = 20


def listened_for(pack: Pack) -> list[str]:
    """Words and phrases whose phones are listened for beside the commands: none that are tuned or reported on.

        python -m tests.training.near_misses near > assistant/hearing/packs/near_en.txt
    """
    held = {w for split in ("report", "tune") for w in (*near_misses(pack, split), *near_phrases(pack, split),
                                                           *sentences.NEARLY_CONFIRMING[split])}
    found = near_phrases(pack, "listened for")
    for form in pack.forms:
        found += [w for w, _ in near(form, pack, 2 * NEAR_EACH) if w not in held][:NEAR_EACH]
    return [text for text in dict.fromkeys(found) if text not in held]


if __name__ == "__main__":
    import json
    import sys

    from assistant.hearing.vocabulary.packs import load_pack

    print("\n".join(listened_for(load_pack("en"))) if "near" in sys.argv else json.dumps(decoys(load_pack("en"))))

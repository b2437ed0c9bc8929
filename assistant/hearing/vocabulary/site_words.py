"""A site's own spoken words: `site_words` of its enclosure file, each "COMMAND=WORDS", said beside the pack's.

They are held to the dictionary and to all other words before anybody gloves up. What no dictionary can say (whether the
model of the engine in use knows them) the engine says when it is loaded.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from assistant.errors import ModelError
from assistant.hearing.vocabulary.confusability import check_form, suggestions
from assistant.hearing.vocabulary.lexicon import bundled_dictionary_path, dictionary
from assistant.hearing.vocabulary.packs import Pack
from assistant.language import vocabulary as words

HOW = "write COMMAND=WORDS, for example repeat=once more please; a mishap's word is one of the vocabulary's"


@dataclass(frozen=True)
class Objection:
    """What speaks against the entry at `index`, in plain words, and what to try."""

    index: int
    message: str
    try_next: str


def parsed(entry: str) -> tuple[str, str] | None:
    """(command id, spoken words) of an entry, or None where it isn't one."""
    word, equals, form = entry.partition("=")
    said = " ".join(form.lower().split())
    return (word.strip(), said) if equals and said and word.strip() in words.ALL else None


def objections(pack: Pack, entries: Sequence[str]) -> Iterator[Objection]:
    """Everything that speaks against a site's own words, in their order. Sounds are compared in English only: for other
    languages there is no pronunciation dictionary."""
    taken = pack
    for index, entry in enumerate(entries):
        found = parsed(entry)
        if found is None:
            word = entry.partition("=")[0].strip()
            close = difflib.get_close_matches(word, sorted(words.ALL), 3)
            yield Objection(index, f"'{entry}' isn't a command and how it is said.", f"did you mean {', '.join(close)}? {HOW}" if close else HOW)
            continue
        word, form = found
        if word in words.CONFIRMING:
            yield Objection(index, f"'{form}' can't stand for {word}: a word that confirms is said only as it was measured.",
                            "say " + " or ".join(f"'{f}'" for f in pack.say.get(word, ())))
            continue
        against = list(_against(taken, word, form))
        yield from (Objection(index, text, better(pack, word, form)) for text in against)
        if not against:
            taken = with_site_words(taken, [entry])


def _against(pack: Pack, word: str, form: str) -> Iterator[str]:
    other = pack.word_of(form)
    if other is not None and other != word:
        yield f"'{form}' is already said for {other}."
    elif pack.language == "en":
        try:
            yield from check_form(pack, word, form)
        except ModelError as error:
            yield error.what


def better(pack: Pack, word: str, form: str = "") -> str:
    """What to say for a command instead of `form`: forms that were tried, and known words near an unknown one."""
    if pack.language != "en":
        return f"for {word}: " + (", ".join(pack.say.get(word, ())) or "another word")
    known = dictionary(bundled_dictionary_path())
    strange = [w for w in form.split() if w not in known and w not in pack.pronunciations]
    near = [f"words like '{w}' that it knows: {', '.join(found)}" for w in strange if (found := near_words(w))]
    return "; ".join([f"for {word}: {', '.join(suggestions(pack, word)) or 'another word'}", *near])


def with_site_words(pack: Pack, entries: Sequence[str]) -> Pack:
    """The pack with the site's words before its own; entries that aren't one, and words that confirm, are left out."""
    more: dict[str, list[str]] = {}
    for found in map(parsed, entries):
        if found is not None and found[0] not in words.CONFIRMING and pack.word_of(found[1]) is None:
            more.setdefault(found[0], []).append(found[1])
    return pack.with_words({w: list(dict.fromkeys([*forms, *pack.say.get(w, ())])) for w, forms in more.items()})


def near_words(word: str, count: int = 3) -> list[str]:
    """Words of the dictionary that are spelt nearly so."""
    known = dictionary(bundled_dictionary_path())
    near = [w for w in known if w[:1] == word[:1] and abs(len(w) - len(word)) <= 2 and w.isalpha()]
    return difflib.get_close_matches(word, near, count, 0.7)

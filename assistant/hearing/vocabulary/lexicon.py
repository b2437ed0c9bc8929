"""Pronunciations from the dictionary that the embedded English model brings."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from itertools import islice, product
from pathlib import Path

from assistant.errors import ModelError


@lru_cache(maxsize=4)
def dictionary(path: str) -> dict[str, tuple[str, ...]]:
    """word -> phoneme strings, from a CMU-style dictionary file ("word", "word(2)")."""
    found: dict[str, list[str]] = {}
    with open(path, encoding="utf-8") as lines:
        for line in lines:
            head, _, phones = line.strip().partition(" ")
            if phones:
                found.setdefault(re.sub(r"\(\d+\)$", "", head), []).append(" ".join(phones.split()))
    return {word: tuple(forms) for word, forms in found.items()}


def bundled_dictionary_path() -> str:
    import pocketsphinx

    return str(Path(pocketsphinx.get_model_path()) / "en-us" / "cmudict-en-us.dict")


def pronounce(form: str, known: dict[str, tuple[str, ...]], extra: Mapping[str, tuple[str, ...]],
              most: int = 6) -> list[str]:
    """Phoneme strings of a spoken form of one or more words. Raises ModelError naming the unknown word."""
    if form in extra:
        return list(extra[form])
    choices = []
    for word in form.split():
        phones = extra.get(word) or known.get(word)
        if not phones:
            raise ModelError(f"The speech model doesn't know the word '{word}' (in '{form}').",
                             try_next="choose another word for this command, or give its pronunciation in the pack")
        choices.append(phones)
    # A long row of words has more ways to be said than memory could hold: only the first are made.
    return [" ".join(parts) for parts in islice(product(*choices), most)]

"""Which word follows which in the assistant's sentences, as a model for the recogniser of an operator's ear."""

from __future__ import annotations

import itertools
import math
from collections import Counter

from tests.bench.practice.known_lines import DASH, LETTERS, NUMBERS, SIGNS

_DISCOUNT = 0.15
OPEN_WORDS = (*NUMBERS, *LETTERS, DASH, "minus", "point", "thousand", "so", "far")  # any procedure may need them


def bigrams(sentences: list[list[str]]) -> str:
    """A bigram model of the sentences in ARPA's format, with numbers and spelled letters free to follow one another
    (absolute discounting and backing off; Katz 1987, Ney 1994, from memory)."""
    single: Counter[str] = Counter(dict.fromkeys(OPEN_WORDS, 1))
    pairs: Counter[tuple[str, str]] = Counter()
    for said in sentences:
        row = ["<s>", *said, "</s>"]
        single.update(row[1:])
        pairs.update(itertools.pairwise(row))
    free = (*NUMBERS, *LETTERS)
    pairs.update({(a, b): 1 for a in free for b in NUMBERS} | {(a, b): 1 for a in ("understood", *LETTERS) for b in LETTERS})
    pairs.update({(a, DASH): 2 for a in NUMBERS} | {(DASH, b): 2 for b in NUMBERS})
    pairs.update({(a, b): 2 for a in NUMBERS for b in ("minute", "minutes", "second", "seconds", "pascals")})
    # said back alone, or as what is there so far
    pairs.update({("<s>", a): 6 for a in SIGNS} | {(a, "</s>"): 12 for a in SIGNS} | {("<s>", "so"): 12, ("so", "far"): 12})
    pairs.update({("far", a): 2 for a in SIGNS} | {(a, b): 8 for a in SIGNS for b in SIGNS[:10]})
    after: dict[str, dict[str, int]] = {}
    for (a, b), n in pairs.items():
        after.setdefault(a, {})[b] = n
    total = sum(single.values())
    ones, twos = [], []
    for word in ["<s>", *sorted(single)]:
        follow = after.get(word, {})
        count = sum(follow.values())
        left = min(0.5, max(0.02, _DISCOUNT * len(follow) / count)) if count else 1.0
        back = left / max(1e-6, 1.0 - sum(single[b] for b in follow) / total) if count else 1.0
        ones.append(f"{-99 if word == '<s>' else math.log10(single[word] / total):.4f} {word} {math.log10(back):.4f}")
        twos += [f"{math.log10((1.0 - left) * n / count):.4f} {word} {b}" for b, n in sorted(follow.items())]
    return "\n".join(["", "\\data\\", f"ngram 1={len(ones)}", f"ngram 2={len(twos)}", "", "\\1-grams:", *ones, "",
                      "\\2-grams:", *twos, "", "\\end\\", ""])

"""How long a line takes to say, without a synthesiser. Standard library only: other rooms use it.

The figures are fitted to the packaged synthesiser (English, 100 to 220 words a minute); a test bounds the
error.
"""

from __future__ import annotations

import re
from functools import lru_cache

BASE_WPM = 150
# Least squares over 18 lines at 110, 150 and 200 words a minute, scaled to 150: worst error 16 %, median 3 %.
START_S = 0.135
LETTER_S = 0.062
SYLLABLE_S = 0.027
COMMA_S = 0.34
SENTENCE_S = 0.53
HANGUL_SYLLABLE_S = 0.21

_VOWELS = re.compile(r"[aeiouy]+")
_HANGUL = re.compile(r"[가-힣]")
_LETTERS_PER_DIGIT = 4  # "one" to "nine" as words
_DIGIT_SYLLABLES = {"0": 2, "7": 2}


def syllables(word: str) -> int:
    """Syllables of a written word, at least 1. English by vowel groups, Korean by block, digits by name."""
    blocks = len(_HANGUL.findall(word))
    if blocks:
        return blocks
    digits = [ch for ch in word if ch.isdigit()]
    spoken_digits = sum(_DIGIT_SYLLABLES.get(ch, 1) for ch in digits)
    letters = re.sub(r"[^a-z]", "", word.lower())
    if not letters:
        return max(1, spoken_digits)
    if (
        letters.upper() == re.sub(r"[^A-Za-z]", "", word)
        and len(letters) <= 4
        and not _VOWELS.search(letters[1:-1])
    ):
        return spoken_digits + len(letters) + letters.count("w") * 2  # an abbreviation, said letter by letter
    count = len(_VOWELS.findall(letters))
    if letters.endswith("e") and not re.search(r"[^aeiouy]le$|[eyi]e$", letters) and count > 1:
        count -= 1
    if re.search(r"[^td]ed$", letters) and count > 1:
        count -= 1
    if letters.endswith("es") and not re.search(r"([sxz]|[cs]h|[cg])es$", letters) and count > 1:
        count -= 1
    count += len(re.findall(r"[aeiou]ing$|i[aou](?!u)|[^q]ua|eo|[aeiouy].*ea$", letters)) - len(
        re.findall(r"[tcsg]i[ao]n|gua|eo(?=us)|[tc]i[ou]us|[tc]ial", letters)
    )
    return max(1, count) + spoken_digits


@lru_cache(maxsize=16_384)  # simulated sessions say the same lines over and over
def seconds(text: str, rate_wpm: int = BASE_WPM) -> float:
    """Estimated seconds of speech for `text` at `rate_wpm` words a minute; 0 for a text without a word.

    Raises ValueError for a rate that isn't positive.
    """
    if rate_wpm <= 0:
        raise ValueError(f"rate must be positive, not {rate_wpm} words a minute")
    words = [part for w in text.split() for part in re.split(r"[-/]", w) if any(ch.isalnum() for ch in part)]
    if not words:
        return 0.0
    total = START_S
    for word in words:
        blocks = len(_HANGUL.findall(word))
        digits = sum(ch.isdigit() for ch in word)
        letters = sum(ch.isalpha() for ch in word) - blocks
        total += blocks * HANGUL_SYLLABLE_S
        total += (letters + digits * _LETTERS_PER_DIGIT) * LETTER_S
        total += 0.0 if blocks else syllables(word) * SYLLABLE_S
    body = text.strip().rstrip(".!?,;: ")
    total += (
        len(re.findall(r"[,;:](?=\s)", body)) * COMMA_S + len(re.findall(r"[.!?](?=\s)", body)) * SENTENCE_S
    )
    return total * BASE_WPM / rate_wpm

"""How long a text takes to say, from its words. Pure, so that files can be judged without a voice.

No published rate fits a synthesiser; 2.6 words a second and 0.35 s at a sentence end are this project's own
figures for the embedded voice at its default rate, and are judgement, not a source.
"""

from __future__ import annotations

import re

WORDS_PER_S = 2.6
PAUSE_PER_SENTENCE_MS = 350
# Korean is counted by syllables: a block a syllable, about five to the second.
SYLLABLES_PER_S_KO = 5.0

_SENTENCE = re.compile(r"(?<=[.!?])\s+")
_WORD = re.compile(r"[0-9]+(?:[.,][0-9]+)?|[^\W\d_]+(?:['’-][^\W\d_]+)*|%")
_HANGUL = re.compile(r"[\uac00-\ud7a3]")


def sentences(text: str) -> list[str]:
    """The sentences of a spoken text, without empty ones."""
    return [s for s in (p.strip() for p in _SENTENCE.split(text)) if s]


def sentence_ms(sentence: str) -> int:
    """Milliseconds to say one sentence, its closing pause left out. A number counts one word per two digits."""
    hangul = len(_HANGUL.findall(sentence))
    if hangul > len(sentence) / 3:
        digits = sum(ch.isdigit() for ch in sentence)
        return round((hangul + 2 * digits) / SYLLABLES_PER_S_KO * 1000)
    words = 0.0
    for word in _WORD.findall(sentence):
        words += (
            max(1, (sum(ch.isdigit() for ch in word) + 1) // 2)
            if word[0].isdigit()
            else max(1, len(word) / 9)
        )
    return round(words / WORDS_PER_S * 1000)


def speech_ms(text: str) -> int:
    """Milliseconds to say a text, with a pause at each sentence end."""
    parts = sentences(text)
    return sum(sentence_ms(p) for p in parts) + PAUSE_PER_SENTENCE_MS * len(parts)

"""How far apart two pronunciations are: an edit distance weighted by phonetic features.

The features are those of the ARPAbet symbols as tabled by the International Phonetic Association's chart (place,
manner, voice; height, backness, rounding). A substitution costs the share of features that differ, a deletion or
insertion costs 1, half that for the weak sounds that speakers drop (common practice, no source).
"""

from __future__ import annotations

from functools import cache

# consonants: place (0 lips .. 7 throat), manner (0 stop, 1 affricate, 2 fricative, 3 nasal, 4 liquid, 5 glide), voiced
_CONSONANTS = {
    "P": (0, 0, 0), "B": (0, 0, 1), "T": (3, 0, 0), "D": (3, 0, 1), "K": (6, 0, 0), "G": (6, 0, 1),
    "CH": (4, 1, 0), "JH": (4, 1, 1), "F": (1, 2, 0), "V": (1, 2, 1), "TH": (2, 2, 0), "DH": (2, 2, 1),
    "S": (3, 2, 0), "Z": (3, 2, 1), "SH": (4, 2, 0), "ZH": (4, 2, 1), "HH": (7, 2, 0),
    "M": (0, 3, 1), "N": (3, 3, 1), "NG": (6, 3, 1), "L": (3, 4, 1), "R": (4, 4, 1), "W": (0, 5, 1), "Y": (5, 5, 1),
}
# vowels: height (0 close .. 3 open), backness (0 front .. 2 back), rounded, glides to (0 none, 1 front, 2 back, 3 r)
_VOWELS = {
    "IY": (0, 0, 0, 0), "IH": (0.6, 0.3, 0, 0), "EH": (2, 0, 0, 0), "AE": (2.6, 0, 0, 0), "AA": (3, 2, 0, 0),
    "AO": (2.2, 2, 1, 0), "UH": (0.6, 1.7, 1, 0), "UW": (0, 2, 1, 0), "AH": (1.8, 1.2, 0, 0), "ER": (1.5, 1, 0, 3),
    "EY": (1.3, 0, 0, 1), "AY": (3, 1, 0, 1), "OY": (2, 2, 1, 1), "OW": (1.3, 2, 1, 2), "AW": (3, 1, 0, 2),
}
_WEAK = {"HH": 0.5, "AH": 0.6, "IH": 0.6, "R": 0.7, "T": 0.7, "D": 0.7, "Y": 0.7, "L": 0.8, "N": 0.8}


@cache
def substitution(a: str, b: str) -> float:
    """0 for the same sound, up to 1.2 for a vowel against a consonant."""
    if a == b:
        return 0.0
    if a in _CONSONANTS and b in _CONSONANTS:
        pa, pb = _CONSONANTS[a], _CONSONANTS[b]
        manner = 0.0 if pa[1] == pb[1] else 0.3 if abs(pa[1] - pb[1]) == 1 else 0.5
        return min(1.0, 0.08 * abs(pa[0] - pb[0]) + manner + (0.2 if pa[2] != pb[2] else 0.0) + 0.1)
    if a in _VOWELS and b in _VOWELS:
        va, vb = _VOWELS[a], _VOWELS[b]
        glide = 0.0 if va[3] == vb[3] else 0.25
        return min(1.0, 0.15 * abs(va[0] - vb[0]) + 0.15 * abs(va[1] - vb[1]) + (0.1 if va[2] != vb[2] else 0) + glide + 0.05)
    return 1.2


def distance(a: tuple[str, ...], b: tuple[str, ...]) -> float:
    """Weighted edit distance of two phoneme sequences (Wagner and Fischer 1974)."""
    previous = [0.0]
    for y in b:
        previous.append(previous[-1] + _WEAK.get(y, 1.0))
    for x in a:
        drop = _WEAK.get(x, 1.0)
        row = [previous[0] + drop]
        for k, y in enumerate(b):
            row.append(min(previous[k] + substitution(x, y), previous[k + 1] + drop, row[k] + _WEAK.get(y, 1.0)))
        previous = row
    return previous[-1]


def likeness(a: str, b: str) -> float:
    """1 for the same pronunciation, 0 for nothing in common; of two space-separated phoneme strings."""
    pa, pb = tuple(a.split()), tuple(b.split())
    return max(0.0, 1.0 - distance(pa, pb) / max(len(pa), len(pb), 1))

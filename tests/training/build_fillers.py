"""Make `packs/fillers_en.txt` again: the background words the embedded English engine listens to beside commands.

    python -m tests.training.build_fillers > assistant/hearing/packs/fillers_en.txt

The commonest words of the wheel's dictionary by the wheel's own language model (unigram), written with their log10
probability. The same packages give the same file.
"""

from __future__ import annotations

import math
import os
import re
import sys

COUNT = 3000
# PocketSphinx keeps log probabilities to base 1.0001 (its logmath default).
LOG10_OF_BASE = math.log10(1.0001)


def ranked(count: int = COUNT) -> list[tuple[str, float]]:
    """(word, log10 unigram probability), commonest first."""
    import pocketsphinx

    folder = pocketsphinx.get_model_path()
    decoder = pocketsphinx.Decoder(lm=os.path.join(folder, "en-us", "en-us.lm.bin"), loglevel="FATAL")
    model = decoder.get_lm()
    words = set()
    with open(os.path.join(folder, "en-us", "cmudict-en-us.dict"), encoding="utf-8") as lines:
        for line in lines:
            word = line.split(None, 1)[0]
            if re.fullmatch(r"[a-z][a-z']+|a|i", word):
                words.add(word)
    scored = sorted(((model.prob([w]) * LOG10_OF_BASE, w) for w in words), reverse=True)
    return [(w, p) for p, w in scored[:count]]


if __name__ == "__main__":
    for word, log10 in ranked():
        sys.stdout.write(f"{word} {log10:.3f}\n")

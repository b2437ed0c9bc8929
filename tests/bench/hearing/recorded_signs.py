"""Digits and spelling words as a person said them, not a machine: Debian's recorded prompts, where they are installed."""

from __future__ import annotations

from pathlib import Path

from assistant.hearing.values.spoken_words import DIGITS, ICAO
from tests.bench.hearing.figures import SNRS
from tests.bench.hearing.mixing import mix
from tests.bench.hearing.negatives import human, human_folder
from tests.bench.hearing.rates import rate


def recorded() -> dict[str, dict[Path, str]]:
    """Kind of sign -> file -> the sign said in it."""
    folder = human_folder()
    digits = {folder / "digits" / f"{digit}.wav": digit for digit in DIGITS.values()}
    letters = {folder / "phonetic" / f"{letter.lower()}_p.wav": letter for letter in ICAO.values()}
    found = {"number sign": digits | {folder / "digits" / "minus.wav": "-"}, "lot sign": letters}
    return {kind: {path: sign for path, sign in files.items() if path.is_file()} for kind, files in found.items()}


def recorded_figures(make) -> dict[str, object]:
    """Of each kind and signal-to-noise ratio, how many were heard as what they are, and how many as another. `make`
    gives a fresh listener. Empty where nothing is installed."""
    out: dict[str, object] = {}
    for kind, files in recorded().items():
        for name, snr in SNRS if files else ():
            right = wrong = 0
            for k, (path, sign) in enumerate(files.items()):
                listener = make()
                listener.set_active(frozenset(), kind)
                pcm, _ = mix([("", sign, human(path))], snr, 500 + k, "report")
                heard = [u.value.text for u in (*listener.feed(pcm), *listener.flush()) if u.accepted and u.value]
                right += heard == [sign]
                wrong += any(text != sign for text in heard)
            out[f"{kind}, {name}"] = {"right": rate(right, len(files)), "wrong": rate(wrong, len(files))}
    return out

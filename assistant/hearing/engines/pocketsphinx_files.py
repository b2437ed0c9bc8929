"""The files PocketSphinx is given: a dictionary, unigram models, grammars and the front end's settings."""

from __future__ import annotations

import hashlib
import math
from functools import lru_cache
from importlib import resources
from pathlib import Path

from assistant.hearing.values import grammar as value_grammar
from assistant.hearing.vocabulary.lexicon import pronounce
from assistant.hearing.vocabulary.packs import Pack

MARK = "CMD_"           # a token that begins so is a command, its spaces as underscores


def token(form: str) -> str:
    return MARK + form.replace(" ", "_").replace("'", "~")


def text(token: str) -> str:
    return token.removeprefix(MARK).replace("_", " ").replace("~", "'")


def jsgf(choices: list[str]) -> str:
    """One of `choices`, all equally likely."""
    return "#JSGF V1.0;\ngrammar choices;\npublic <choice> = " + " | ".join(choices) + ";\n"


def fillers(pack: Pack) -> list[tuple[str, float]]:
    """Background words with log10 probability, without the words that are whole commands themselves."""
    lines = (resources.files("assistant.hearing") / "packs" / "fillers_en.txt").read_text(encoding="utf-8")
    out = []
    for line in lines.splitlines():
        word, log10 = line.split()
        if pack.word_of(word) is None:
            out.append((word, float(log10)))
    return out


def dictionary_lines(pack: Pack, known: dict[str, tuple[str, ...]], others: set[str]) -> list[str]:
    """Commands as one token each, then `others` with the words of values and rivals. Raises ModelError."""
    lines: list[str] = []
    for form in pack.forms:
        for k, phones in enumerate(pronounce(form, known, pack.pronunciations)):
            lines.append(f"{token(form)}{'' if k == 0 else f'({k + 1})'} {phones}")
    rivals = [r for phrases in pack.rivals.values() for r in phrases if pack.word_of(r) is None]
    for word in sorted(others | value_grammar.words("en") | {w for r in rivals for w in r.split()}):
        for k, phones in enumerate(pronounce(word, known, pack.pronunciations)):
            lines.append(f"{word}{'' if k == 0 else f'({k + 1})'} {phones}")
    return lines


def arpa(pack: Pack, background: list[tuple[str, float]], decoys: list[str], *, power: float, prior: float,
         decoy_share: float, commands: bool = True) -> str:
    """A unigram model: commands share `prior`, words the rest by their own probability to the `power`."""
    weights = [(w, 10 ** (p * power)) for w, p in background]
    total = sum(v for _, v in weights)
    forms = pack.forms
    chances = {w: (1 - prior) * v / total for w, v in weights}
    for word in decoys:
        chances[word] = chances.get(word, 0.0) + prior / len(forms) * decoy_share
    rows = [("</s>", -1.0), ("<s>", -99.0)]
    rows += [(token(f), math.log10(prior / len(forms))) for f in forms if commands]
    rows += [(w, math.log10(v)) for w, v in chances.items()]
    body = "\n".join(f"{p:.4f}\t{w}" for w, p in rows)
    return f"\\data\\\nngram 1={len(rows)}\n\n\\1-grams:\n{body}\n\n\\end\\\n"


def front_end(folder: Path, *, remove_noise: bool, cmn: str) -> str:
    """The model's own front-end settings with ours in place: they'd win over the decoder's options otherwise."""
    ours = {"-remove_noise": "yes" if remove_noise else "no", "-cmn": cmn}
    rows = [line.split() for line in (folder / "feat.params").read_text().splitlines() if line.strip()]
    kept = [f"{name} {ours.pop(name, value)}" for name, value in rows]
    return "\n".join(kept + [f"{n} {v}" for n, v in ours.items()]) + "\n"


@lru_cache(maxsize=1)
def model_hash() -> str:
    """SHA-256 over names and contents of the bundled acoustic model's files, in name order."""
    import pocketsphinx

    digest = hashlib.sha256()
    folder = Path(pocketsphinx.get_model_path()) / "en-us" / "en-us"
    for path in sorted(folder.iterdir()):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()

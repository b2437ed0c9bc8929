"""The embedded English engine: PocketSphinx with its bundled model.

Its plain grammar accepts nearly anything, so each command is one token beside thousands of filler words in a
unigram model, and the bare grammar must name the same command in a second look. A word that confirms must besides
fit the sound about as well as any of its rivals: near phrases that nobody would otherwise tell apart from it.
"""

from __future__ import annotations

import hashlib
import math
import tempfile
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path

from assistant.errors import ModelError

from . import value_grammar
from .gain import level_out
from .lexicon import bundled_dictionary_path, dictionary, pronounce
from .packs import Pack
from .recogniser import Hypothesis
from .verifier import features, load_verifier

# All chosen on the tuning voices and sounds (measure/voices.py names them).
COMMAND_PRIOR = 0.98     # of all probability, shared by the commands; the verifier behind makes up for so open a door
LANGUAGE_WEIGHT = 6.5
FILLER_POWER = 0.6       # 1 would keep the language model's own unigram probabilities
COMFORT_RMS = 90.0       # faint noise 28 dB under the word: formant voices in a silent room went from 69 to 83 %
DECOY_SHARE = 0.1        # a near-miss word's prior, as part of a command's
RIVAL_MARGIN = -4.0      # of the scaled log likelihood a phoneme: how far behind its best rival a confirming word may lie
# For values, of 36 numbers and 36 lots by six tuning voices: at 15 dB 24 and 16 were right instead of 18 and 13, clean 28
# and 26 instead of 25 and 23. Mostly an "oh" or "eight" made of noise, which dearer words keep out.
VALUE_SEARCH = {"lw": 3.0, "wip": 0.03, "silprob": 0.5}
LEAST_POSTERIOR = 0.07   # of a confirming word beside all else that fits the sound: 194 of 198 true ones had it on the tuning
                         # voices, and a whole other command that was taken for one hadn't
SHORTEST_BYTES = 3200
_OWN = ("command_prior", "filler_power", "remove_noise", "cmn", "comfort", "decoy_share", "rival_margin", "least_posterior")
_MARK = "CMD_"           # a token that begins so is a command, its spaces as underscores


class PocketsphinxEngine:
    """See `recogniser.Engine`. Bundled en-us model, 16 kHz."""

    over_speech_bar = 0.0    # its verifier knows running speech
    subtracts_noise = True

    def __init__(self, **tuning: float) -> None:
        self._tuning = {"command_prior": COMMAND_PRIOR, "lw": LANGUAGE_WEIGHT, "filler_power": FILLER_POWER,
                        "remove_noise": True, "cmn": "batch", "comfort": COMFORT_RMS, "decoy_share": DECOY_SHARE,
                        "rival_margin": RIVAL_MARGIN, "least_posterior": LEAST_POSTERIOR, "fwdflat": False, **tuning}
        self._main = None
        self._grammar = None
        self._plain = None
        self._values = None
        self._sounds: dict[str, int] = {}
        self._pack: Pack | None = None

    def describe(self) -> dict[str, object]:
        import pocketsphinx

        version = getattr(pocketsphinx, "__version__", None) or _version("pocketsphinx")
        return {"engine": "pocketsphinx", "version": version, "model": "en-us (bundled)",
                "model_sha256": _model_hash(), "sample_rate_hz": 16_000, "language": "en"}

    def load(self, pack: Pack) -> None:
        import pocketsphinx

        if pack.language != "en":
            raise ModelError(f"The embedded engine knows English only, not '{pack.language}'.",
                             try_next="use Vosk with a model of that language: --engine vosk --model PATH")
        known = dictionary(bundled_dictionary_path())
        fillers = _fillers(pack)
        decoys = [w for w in pack.decoys if w in known and pack.word_of(w) is None]
        lines: list[str] = []
        for form in pack.forms:
            for k, phones in enumerate(pronounce(form, known, pack.pronunciations)):
                lines.append(f"{_token(form)}{'' if k == 0 else f'({k + 1})'} {phones}")
        self._sounds = {f: len(pronounce(f, known, pack.pronunciations)[0].split()) for f in pack.forms}
        rivals = [r for phrases in pack.rivals.values() for r in phrases if pack.word_of(r) is None]
        others = value_grammar.words("en") | {w for r in rivals for w in r.split()}
        for word in sorted({w for w, _ in fillers} | set(decoys) | others):
            for k, phones in enumerate(pronounce(word, known, pack.pronunciations)):
                lines.append(f"{word}{'' if k == 0 else f'({k + 1})'} {phones}")
        folder = Path(pocketsphinx.get_model_path()) / "en-us" / "en-us"
        with tempfile.TemporaryDirectory(prefix="hearing-") as scratch:
            words_file, model_file = Path(scratch) / "words.dict", Path(scratch) / "words.lm"
            words_file.write_text("\n".join(lines) + "\n", encoding="utf-8")
            model_file.write_text(self._arpa(pack, fillers, decoys), encoding="utf-8")
            features_file = Path(scratch) / "feat.params"
            features_file.write_text(self._features(folder), encoding="utf-8")
            common = {"hmm": str(folder), "dict": str(words_file), "featparams": str(features_file),
                      "loglevel": "FATAL", **{k: v for k, v in self._tuning.items() if k not in _OWN}}
            try:
                self._main = pocketsphinx.Decoder(lm=str(model_file), **common)
                plain_file = Path(scratch) / "plain.lm"
                plain_file.write_text(self._arpa(pack, fillers, decoys, commands=False), encoding="utf-8")
                self._plain = pocketsphinx.Decoder(**{**common, "lm": str(plain_file), "bestpath": False})
                self._grammar = pocketsphinx.Decoder(**{**common, "lm": None, "bestpath": False})
                self._grammar.add_jsgf_string("commands", _jsgf([_token(f) for f in pack.forms]))
                for word_id, phrases in pack.rivals.items():
                    self._grammar.add_jsgf_string(f"rivals_{word_id}", _jsgf(list(phrases)))
                self._grammar.activate_search("commands")
                self._values = pocketsphinx.Decoder(**{**common, "lm": None, "bestpath": False, **VALUE_SEARCH})
                for kind in value_grammar.KINDS:
                    self._values.add_jsgf_string(kind, value_grammar.jsgf(kind, "en"))
            except (RuntimeError, ValueError) as error:
                raise ModelError(f"The embedded speech model can't be loaded: {error}",
                                 try_next="reinstall the package pocketsphinx") from error
        self._pack = pack

    def _features(self, folder: Path) -> str:
        """The model's own front-end settings with ours in place: they'd win over the decoder's options otherwise."""
        ours = {"-remove_noise": "yes" if self._tuning["remove_noise"] else "no", "-cmn": self._tuning["cmn"]}
        rows = [line.split() for line in (folder / "feat.params").read_text().splitlines() if line.strip()]
        kept = [f"{name} {ours.pop(name, value)}" for name, value in rows]
        return "\n".join(kept + [f"{n} {v}" for n, v in ours.items()]) + "\n"

    def _arpa(self, pack: Pack, fillers: list[tuple[str, float]], decoys: list[str], commands: bool = True) -> str:
        power, prior = self._tuning["filler_power"], self._tuning["command_prior"]
        weights = [(w, 10 ** (p * power)) for w, p in fillers]
        total = sum(v for _, v in weights)
        forms = pack.forms
        background = {w: (1 - prior) * v / total for w, v in weights}
        for word in decoys:
            background[word] = background.get(word, 0.0) + prior / len(forms) * self._tuning["decoy_share"]
        rows = [("</s>", -1.0), ("<s>", -99.0)]
        rows += [(_token(f), math.log10(prior / len(forms))) for f in forms if commands]
        rows += [(w, math.log10(v)) for w, v in background.items()]
        body = "\n".join(f"{p:.4f}\t{w}" for w, p in rows)
        return f"\\data\\\nngram 1={len(rows)}\n\n\\1-grams:\n{body}\n\n\\end\\\n"

    def decode(self, pcm: bytes, expect: str | None = None, loud_s: float = 0.0) -> Hypothesis:
        if len(pcm) < SHORTEST_BYTES:
            return Hypothesis("", None, 0.0)
        pcm = level_out(pcm, self._tuning["comfort"])
        main = self._search(self._main, pcm)
        said = " ".join(_text(t) for t in main.tokens)
        form = _text(main.tokens[0]) if len(main.tokens) == 1 and main.tokens[0].startswith(_MARK) else None
        scores = {"posterior": main.posterior, "main": main.path, "words_s": main.seconds, "frames": len(pcm) / 320.0}
        value_text = ""
        agrees = True
        confidence = 0.0
        if form is not None:
            self._grammar.activate_search("commands")
            second = self._search(self._grammar, pcm)
            agrees = len(second.tokens) == 1 and _text(second.tokens[0]) == form
            scores["grammar"] = second.path
            scores["grammar_acoustic"] = second.acoustic
            rivals = f"rivals_{self._pack.word_of(form)}"
            if agrees and self._pack.word_of(form) in self._pack.rivals:
                self._grammar.activate_search(rivals)
                other = self._search(self._grammar, pcm)
                # The grammar's own prior is one of all commands, the rivals' one of theirs: compare the sound alone.
                scores["rival"] = 1e3 * (second.acoustic - other.acoustic) / self._sounds[form]
                agrees = scores["rival"] >= self._tuning["rival_margin"] and main.posterior >= self._tuning["least_posterior"]
            if agrees:
                plain = self._search(self._plain, pcm)
                scores["plain"] = plain.path
                scores["plain_acoustic"] = plain.acoustic
                scores["plain_words"] = float(len(plain.tokens))
            confidence = self._confidence(form, scores, loud_s or main.seconds) if agrees else 0.0
        if expect:
            self._values.activate_search(expect)
            value = self._search(self._values, pcm)
            value_text = " ".join(value.tokens)
            scores["value"] = value.path
        return Hypothesis(said, form, max(0.0, min(1.0, confidence)), agrees, value_text, scores)

    def _confidence(self, form: str, scores: dict[str, float], loud_s: float) -> float:
        sounds = self._sounds[form]
        part = "confirming" if "rival" in scores else "other"
        return load_verifier("pocketsphinx_en", part).confidence(features(scores, scores["posterior"], loud_s, sounds))

    @staticmethod
    def _search(decoder, pcm: bytes) -> _Found:
        decoder.start_utt()
        decoder.process_raw(pcm, full_utt=True)
        decoder.end_utt()
        hyp = decoder.hyp()
        if hyp is None:
            return _Found([], 0.0, 0.0, 0.0, 0.0)
        tokens, frames, acoustic = [], 0, 0.0
        for seg in decoder.seg():
            acoustic += _log(seg.ascore)
            word = seg.word.split("(")[0]
            if not word or word[0] in "<[" or word == "(NULL)":
                continue
            tokens.append(word)
            frames += seg.end_frame - seg.start_frame + 1
        return _Found(tokens, frames / 100.0, acoustic, _log(hyp.score), float(hyp.prob))

    def close(self) -> None:
        self._main = self._grammar = self._plain = self._values = None


@dataclass(frozen=True)
class _Found:
    """A best path: its tokens, how long they cover, acoustic and whole log score, posterior."""

    tokens: list[str]
    seconds: float
    acoustic: float
    path: float
    posterior: float


def _log(score: float) -> float:
    """The library hands out exp(score) on its own scaled-down scale."""
    return math.log(score) if score > 0 else -100.0


def _token(form: str) -> str:
    return _MARK + form.replace(" ", "_").replace("'", "~")


def _text(token: str) -> str:
    return token.removeprefix(_MARK).replace("_", " ").replace("~", "'")


def _jsgf(choices: list[str]) -> str:
    """One of `choices`, all equally likely."""
    return "#JSGF V1.0;\ngrammar choices;\npublic <choice> = " + " | ".join(choices) + ";\n"


def _fillers(pack: Pack) -> list[tuple[str, float]]:
    """Background words with log10 probability, without the words that are whole commands themselves."""
    text = (resources.files("assistant.hearing") / "packs" / "fillers_en.txt").read_text(encoding="utf-8")
    out = []
    for line in text.splitlines():
        word, log10 = line.split()
        if pack.word_of(word) is None:
            out.append((word, float(log10)))
    return out


def _version(package: str) -> str:
    from importlib.metadata import version

    return version(package)


@lru_cache(maxsize=1)
def _model_hash() -> str:
    """SHA-256 over names and contents of the bundled acoustic model's files, in name order."""
    import pocketsphinx

    digest = hashlib.sha256()
    folder = Path(pocketsphinx.get_model_path()) / "en-us" / "en-us"
    for path in sorted(folder.iterdir()):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()

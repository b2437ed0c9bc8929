"""The embedded English engine: PocketSphinx with its bundled model.

Its plain grammar accepts nearly anything, so each command is one token beside thousands of filler words in a
unigram model, and the bare grammar must name the same command in a second look. A word that confirms must besides
fit the sound about as well as any of its rivals: near phrases that nobody would otherwise tell apart from it.
"""

from __future__ import annotations

import math
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from assistant.errors import ModelError
from assistant.hearing.engines import pocketsphinx_files as files
from assistant.hearing.engines.recogniser import Hypothesis
from assistant.hearing.judging.verifier import features, load_verifier
from assistant.hearing.sound.gain import level_out
from assistant.hearing.values import grammar as value_grammar
from assistant.hearing.vocabulary.lexicon import bundled_dictionary_path, dictionary, pronounce
from assistant.hearing.vocabulary.packs import Pack

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


class PocketsphinxEngine:
    """See `recogniser.Engine`. Bundled en-us model, 16 kHz."""

    over_speech_bar = 0.0    # its verifier knows running speech
    subtracts_noise = True

    def __init__(self, **tuning: float) -> None:
        self._tuning: dict[str, Any] = {"command_prior": COMMAND_PRIOR, "lw": LANGUAGE_WEIGHT, "filler_power": FILLER_POWER,
                        "remove_noise": True, "cmn": "batch", "comfort": COMFORT_RMS, "decoy_share": DECOY_SHARE,
                        "rival_margin": RIVAL_MARGIN, "least_posterior": LEAST_POSTERIOR, "fwdflat": False, **tuning}
        self._main: Any = None  # decoders, which come without types
        self._grammar: Any = None
        self._plain: Any = None
        self._values: Any = None
        self._sounds: dict[str, int] = {}
        self._pack: Pack  # from `load` on

    def describe(self) -> dict[str, object]:
        import pocketsphinx

        version = getattr(pocketsphinx, "__version__", None) or _version("pocketsphinx")
        return {"engine": "pocketsphinx", "version": version, "model": "en-us (bundled)",
                "model_sha256": files.model_hash(), "sample_rate_hz": 16_000, "language": "en"}

    def load(self, pack: Pack) -> None:
        import pocketsphinx

        if pack.language != "en":
            raise ModelError(f"The embedded engine knows English only, not '{pack.language}'.",
                             try_next="use Vosk with a model of that language: --engine vosk --model PATH")
        known = dictionary(bundled_dictionary_path())
        fillers = files.fillers(pack)
        decoys = [w for w in pack.decoys if w in known and pack.word_of(w) is None]
        self._sounds = {f: len(pronounce(f, known, pack.pronunciations)[0].split()) for f in pack.forms}
        lines = files.dictionary_lines(pack, known, {w for w, _ in fillers} | set(decoys))
        folder = Path(pocketsphinx.get_model_path()) / "en-us" / "en-us"
        with tempfile.TemporaryDirectory(prefix="hearing-") as scratch:
            words_file, model_file = Path(scratch) / "words.dict", Path(scratch) / "words.lm"
            words_file.write_text("\n".join(lines) + "\n", encoding="utf-8")
            model_file.write_text(self._unigrams(pack, fillers, decoys), encoding="utf-8")
            features_file = Path(scratch) / "feat.params"
            features_file.write_text(files.front_end(folder, remove_noise=self._tuning["remove_noise"],
                                                     cmn=self._tuning["cmn"]), encoding="utf-8")
            common = {"hmm": str(folder), "dict": str(words_file), "featparams": str(features_file),
                      "loglevel": "FATAL", **{k: v for k, v in self._tuning.items() if k not in _OWN}}
            try:
                self._main = pocketsphinx.Decoder(lm=str(model_file), **common)
                plain_file = Path(scratch) / "plain.lm"
                plain_file.write_text(self._unigrams(pack, fillers, decoys, commands=False), encoding="utf-8")
                self._plain = pocketsphinx.Decoder(**{**common, "lm": str(plain_file), "bestpath": False})
                self._grammar = pocketsphinx.Decoder(**{**common, "lm": None, "bestpath": False})
                self._grammar.add_jsgf_string("commands", files.jsgf([files.token(f) for f in pack.forms]))
                for word_id, phrases in pack.rivals.items():
                    self._grammar.add_jsgf_string(f"rivals_{word_id}", files.jsgf(list(phrases)))
                for form in (f for word_id in pack.rivals for f in pack.say[word_id]):
                    self._grammar.add_jsgf_string(files.token(form), files.jsgf([files.token(form)]))
                self._grammar.activate_search("commands")
                self._values = pocketsphinx.Decoder(**{**common, "lm": None, "bestpath": False, **VALUE_SEARCH})
                for kind in value_grammar.KINDS:
                    self._values.add_jsgf_string(kind, value_grammar.jsgf(kind, "en"))
            except (RuntimeError, ValueError) as error:
                raise ModelError(f"The embedded speech model can't be loaded: {error}",
                                 try_next="reinstall the package pocketsphinx") from error
        self._pack = pack

    def _unigrams(self, pack: Pack, fillers: list[tuple[str, float]], decoys: list[str], commands: bool = True) -> str:
        tuning = self._tuning
        return files.arpa(pack, fillers, decoys, power=tuning["filler_power"], prior=tuning["command_prior"],
                          decoy_share=tuning["decoy_share"], commands=commands)

    def decode(self, pcm: bytes, expect: str | None = None, loud_s: float = 0.0, raw: bytes = b"") -> Hypothesis:
        if len(pcm) < SHORTEST_BYTES:
            return Hypothesis("", None, 0.0)
        pcm = level_out(pcm, self._tuning["comfort"])
        main = self._search(self._main, pcm)
        said = " ".join(files.text(t) for t in main.tokens)
        form = files.text(main.tokens[0]) if len(main.tokens) == 1 and main.tokens[0].startswith(files.MARK) else None
        scores = {"posterior": main.posterior, "main": main.path, "words_s": main.seconds, "frames": len(pcm) / 320.0}
        value_text = ""
        agrees = True
        confidence = 0.0
        if form is not None:
            second = self._search_grammar("commands", pcm)
            agrees = len(second.tokens) == 1 and files.text(second.tokens[0]) == form
            scores["grammar"] = second.path
            scores["grammar_acoustic"] = second.acoustic
            if agrees and self._pack.word_of(form) in self._pack.rivals:
                other = self._search_grammar(f"rivals_{self._pack.word_of(form)}", pcm)
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
            value = self._search_value(expect, pcm)
            value_text = " ".join(value.tokens)
            scores["value"] = value.path
        return Hypothesis(said, form, max(0.0, min(1.0, confidence)), agrees, value_text, scores)

    def compare(self, pcm: bytes, form: str) -> dict[str, float]:
        """What this engine makes of a sound that another took for `form`.

        `named`: 1 where it hears just that command too, with `posterior`, else 0. `rival`, for a word that confirms: the
        scaled log likelihood a phoneme by which the command fits better than the best of its rivals.
        """
        pcm = level_out(pcm, self._tuning["comfort"])
        own, word = files.token(form), self._pack.word_of(form)
        main = self._search(self._main, pcm)
        named = main.tokens == [own]
        found = {"named": float(named), "posterior": main.posterior if named else 0.0}
        if word in self._pack.rivals:
            alone, near = (self._search_grammar(name, pcm) for name in (own, f"rivals_{word}"))
            found["rival"] = 1e3 * (alone.acoustic - near.acoustic) / self._sounds[form]
        return found

    def value(self, pcm: bytes, expect: str) -> str:
        """The words of the value that was asked for, or ""."""
        return " ".join(self._search_value(expect, level_out(pcm, self._tuning["comfort"])).tokens)

    def sounds(self, form: str) -> int:
        """How many phonemes a command has."""
        return self._sounds[form]

    def _confidence(self, form: str, scores: dict[str, float], loud_s: float) -> float:
        sounds = self._sounds[form]
        part = "confirming" if "rival" in scores else "other"
        return load_verifier("pocketsphinx_en", part).confidence(features(scores, scores["posterior"], loud_s, sounds))

    def _search_grammar(self, name: str, pcm: bytes) -> _Found:
        self._grammar.activate_search(name)
        return self._search(self._grammar, pcm)

    def _search_value(self, expect: str, pcm: bytes) -> _Found:
        self._values.activate_search(expect)
        return self._search(self._values, pcm)

    @staticmethod
    def _search(decoder: Any, pcm: bytes) -> _Found:
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


def _version(package: str) -> str:
    from importlib.metadata import version

    return version(package)


"""A virtual operator that hears the assistant's sound through a recogniser instead of being given its text.

The grammar is made of sentences: those that the assistant says in whole cleans of this procedure, as somebody who
has been through it knows them, any number in place of a number. What isn't among them is heard as something else.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np

from assistant.errors import ModelError
from assistant.hearing.lexicon import bundled_dictionary_path, dictionary, pronounce
from assistant.practice.channel import Channel
from assistant.practice.drills import draw
from assistant.practice.enclosure_sim import EnclosureSim
from assistant.practice.operator import Operator
from assistant.practice.operator_voice import RATE_HZ
from assistant.practice.persona import Persona, load_persona
from assistant.practice.simulate import Simulation
from assistant.procedure.plan import Plan
from assistant.speaking.noise import FanNoise, active_speech_dbfs
from assistant.speaking.resample import to_rate
from assistant.speaking.spoken_text import spoken

_SENTENCE = re.compile(r"(?<=[.?!])\s+")
_NUMBER = re.compile(r"^(zero|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|thirteen|fourteen|fifteen|"
                     r"sixteen|seventeen|eighteen|nineteen|twenty|thirty|forty|fifty|sixty|seventy|eighty|ninety)$")
_NUMBERS = ("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
            "seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety").split()
# Words of the trade that the bundled dictionary lacks; CMU phones, by hand.
_PRONOUNCED = {
    "decontaminant": ["D IY K AH N T AE M AH N AH N T"], "gauntlets": ["G AO N T L AH T S"], "wetted": ["W EH T AH D"],
    "pascals": ["P AE S K AE L Z", "P AE S K AH L Z"],
}
_REST_S = 0.25
_CLEANS = 12  # of which the sentences are known, with mishaps
_VALUES = {word: n for n, word in enumerate(_NUMBERS[:20])} | {word: 10 * n for n, word in enumerate(_NUMBERS[20:], 2)}

Render = Callable[[str], tuple[np.ndarray, int]]  # a line as written -> (int16 samples, rate)


def words_of(text: str) -> list[str]:
    """The words that are said for a line, lower case."""
    return re.findall(r"[a-z']+", spoken(text).lower().replace("-", " "))


def word_errors(said: list[str], heard: list[str]) -> int:
    """Least number of words put in, left out or changed (V. I. Levenshtein, 1966)."""
    row = list(range(len(heard) + 1))
    for i, word in enumerate(said, 1):
        before, row[0] = row[0], i
        for j, other in enumerate(heard, 1):
            before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (word != other))
    return row[-1]


def known_sentences(plan: Plan, cleans: int = _CLEANS) -> list[str]:
    """What the assistant says, sentence by sentence, in `cleans` simulated cleans of several people with mishaps."""
    found: dict[str, None] = {}
    for n, name in enumerate(["careful", "interrupted", "newcomer", "forgetful"] * ((cleans + 3) // 4)):
        if n >= cleans:
            break
        person, world = load_persona(name), EnclosureSim(plan, f"ear:{n}")
        cues = [d.cue() for d in draw(plan, f"ear:{n}", n % 4)]
        operator = Operator(person, world, f"ear:{n}", cues=cues, brief=n % 4 == 3)
        options = tuple((o.id, bool(n & 1)) for o in plan.options)
        run = Simulation(plan, operator, Channel(person.errors, f"ear:{n}"), options=options, brief=n % 4 == 3).run()
        for fact in run.facts:
            if fact.KIND == "line_spoken":
                found.update(dict.fromkeys(_SENTENCE.split(fact.text.strip())))
    return list(found)


class AssistantEar:
    """Hears lines: `render` gives their sound, the fan is `snr_db` below it. Same seed, same noise.

    `words`, `errors`: what was said to it, and how many words of it came out otherwise. Raises ModelError.
    """

    def __init__(self, sentences: Iterable[str], render: Render, seed: int = 0, snr_db: float = 20.0) -> None:
        import pocketsphinx

        self.words = self.errors = self.lines = self.exact = 0
        self._render, self._snr_db = render, snr_db
        self._fan = FanNoise(seed, level_dbfs=-45.0, rate_hz=RATE_HZ)
        self._written: dict[tuple[str, ...], str] = {}
        for sentence in sentences:
            key = _pattern(words_of(sentence))
            if key:
                self._written.setdefault(key, sentence)
        known = dictionary(bundled_dictionary_path())
        sounds = {w: _sounds(w, known) for key in self._written for w in key if w != "#"}
        sounds |= {w: _sounds(w, known) for w in _NUMBERS}
        self.unknown = sorted(w for w, phones in sounds.items() if not phones)  # never heard: left out of the grammar
        rows = [f"{w}{'' if k == 0 else f'({k + 1})'} {p}" for w, phones in sorted(sounds.items()) for k, p in enumerate(phones)]
        choices = [" ".join("<n>" if w == "#" else w for w in key if w == "#" or sounds[w]) for key in self._written]
        rules = " | ".join(dict.fromkeys(c for c in choices if c))
        grammar = f"#JSGF V1.0;\ngrammar lines;\n<n> = ({' | '.join(_NUMBERS)})+;\n<s> = {rules};\npublic <line> = <s>+;\n"
        folder = Path(pocketsphinx.get_model_path()) / "en-us" / "en-us"
        with tempfile.TemporaryDirectory(prefix="ear-") as scratch:
            words_file = Path(scratch) / "words.dict"
            words_file.write_text("\n".join(rows) + "\n", encoding="utf-8")
            try:
                self._decoder = pocketsphinx.Decoder(hmm=str(folder), dict=str(words_file), loglevel="FATAL", bestpath=False, maxhmmpf=3000)
                self._decoder.add_jsgf_string("lines", grammar)
                self._decoder.activate_search("lines")
            except (RuntimeError, ValueError) as error:
                raise ModelError(f"The operator's ear can't be made: {error}.", try_next="leave out --by-ear") from error

    def hears(self, text: str) -> str:
        """What a line as written is heard as, as it would be written; "" for nothing. Sentence by sentence, each
        rendered by itself: the decoder loses its way in a grammar of many sentences in a row."""
        return " ".join(filter(None, (self._sentence(part) for part in _SENTENCE.split(text.strip()))))

    def _sentence(self, text: str) -> str:
        samples, rate_hz = self._render(text)
        samples = to_rate(samples, rate_hz) if rate_hz != RATE_HZ else samples
        rest = round(_REST_S * RATE_HZ)
        sound = self._fan.read(len(samples) + 2 * rest).astype(np.float64)
        sound *= 10 ** ((active_speech_dbfs(samples, RATE_HZ) - self._snr_db + 45.0) / 20)
        sound[rest:rest + len(samples)] += samples
        self._decoder.start_utt()
        self._decoder.process_raw(np.clip(np.round(sound), -32768, 32767).astype("<i2").tobytes(), full_utt=True)
        self._decoder.end_utt()
        hyp = self._decoder.hyp()
        heard = hyp.hypstr.split() if hyp else []
        said = words_of(text)
        wrong = word_errors(said, heard)
        self.words, self.errors, self.lines, self.exact = (
            self.words + len(said), self.errors + wrong, self.lines + 1, self.exact + (wrong == 0))
        return text if wrong == 0 else self._as_written(heard)

    def _as_written(self, heard: list[str]) -> str:
        """Words to sentences: the longest known ones first, numbers filled in; the rest as plain words."""
        out, at = [], 0
        while at < len(heard):
            end = next((e for e in range(len(heard), at, -1) if _pattern(heard[at:e]) in self._written), 0)
            if not end:
                out.append(heard[at])
                at += 1
                continue
            numbers = iter(_runs(heard[at:end]))
            written = self._written[_pattern(heard[at:end])]
            out.append(re.sub(r"-?\d+(\.\d+)?", lambda m: next(numbers, m.group()), written))  # noqa: B023
            at = end
        return " ".join(out)

    @property
    def word_error(self) -> float:
        """Part of the words heard wrongly, 0 without any."""
        return self.errors / self.words if self.words else 0.0

    def told(self) -> str:
        return f"{self.exact} of {self.lines} lines heard word for word; word error {100 * self.word_error:.1f} %."


class ByEar:
    """An operator that is told what its ear makes of each line; everything else is the operator's own."""

    def __init__(self, operator: Operator, ear: AssistantEar) -> None:
        self.operator, self.ear = operator, ear

    def hear(self, text: str, ended_ms: int, role: str = "") -> None:
        """A line has been spoken to its end."""
        if text:
            self.operator.hear(self.ear.hears(text), ended_ms, role)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.operator, name)


def open_ear(ready: Any, persona: Persona, seed: int | str, voice: Any = None) -> AssistantEar:
    """An ear for one procedure and person: the assistant's own voice, the person's fan. Raises ModelError, VoiceError."""
    from assistant.speaking.open_voice import open_voice
    from assistant.speaking.voice import VOICES

    voice = voice or open_voice(VOICES["en"])

    def render(text: str) -> tuple[np.ndarray, int]:
        clip = voice.render(text)
        return clip.samples, clip.rate_hz

    return AssistantEar(known_sentences(ready.plan), render, sum(str(seed).encode()), persona.voice.snr_db)


def _sounds(word: str, known: Any) -> list[str]:
    """A word's pronunciations, none where there is no telling."""
    try:
        return list(pronounce(word, known, _PRONOUNCED))
    except ModelError:
        return []


def _pattern(words: list[str]) -> tuple[str, ...]:
    """The words with each run of numbers as "#"."""
    out: list[str] = []
    for word in words:
        if _NUMBER.match(word):
            if not out or out[-1] != "#":
                out.append("#")
        else:
            out.append(word)
    return tuple(out)


def _runs(words: list[str]) -> list[str]:
    """Each run of number words as digits: "twenty five" -> "25", "four one" -> "41"."""
    out: list[str] = []
    run: list[str] = []
    for word in [*words, ""]:
        if _NUMBER.match(word):
            run.append(word)
        elif run:
            value = [_VALUES[w] for w in run]
            tens = len(value) == 2 and value[0] >= 20 and value[1] < 10
            out.append(str(sum(value)) if tens else "".join(str(v) for v in value))
            run = []
    return out

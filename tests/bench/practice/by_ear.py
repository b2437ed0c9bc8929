"""A virtual operator that hears the assistant's sound through a recogniser instead of being given its text.

It knows the sentences that the assistant says in whole cleans of this procedure, as somebody who has been through it
knows them: they make the decoder's word pairs likely, and what was heard is taken for the nearest of them (`known_lines`).
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np

from assistant.errors import ModelError
from assistant.hearing.vocabulary.lexicon import bundled_dictionary_path, dictionary, pronounce
from assistant.language.sentences import en
from assistant.practice.enclosure.drills import draw
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator import understanding as u
from assistant.practice.operator.channel import Channel
from assistant.practice.operator.person import Operator
from assistant.practice.operator.persona import Persona, load_persona
from assistant.practice.operator.voice import RATE_HZ
from assistant.practice.simulate import Simulation
from assistant.procedure.model.plan import Plan
from assistant.session.facts.lines import LineSpoken
from assistant.speaking.noise import FanNoise, active_speech_dbfs
from assistant.speaking.resample import to_rate
from tests.bench.practice.known_lines import Heard, KnownLines, pattern, word_errors, words_of
from tests.bench.practice.word_pairs import OPEN_WORDS, bigrams

_SENTENCE = re.compile(r"(?<=[.?!])\s+")
# Words of the trade that the bundled dictionary lacks; CMU phones, by hand.
_PRONOUNCED = {
    "decontaminant": ("D IY K AH N T AE M AH N AH N T",), "gauntlets": ("G AO N T L AH T S",), "wetted": ("W EH T AH D",),
    "pascals": ("P AE S K AE L Z", "P AE S K AH L Z"),
    "kilo": ("K IH L OW", "K IY L OW"), "quebec": ("K W AH B EH K", "K EH B EH K"),  # key loh, keh beck: ICAO Annex 10
}
_REST_S = 0.25
_CLEANS = 12  # of which the sentences are known, with mishaps
MOST_REPEATS = 3  # in a row, before making do with what was made out
CLASSES = ("right", "time or count", "other news", "not sure", "value", "another line")

Render = Callable[[str], tuple[np.ndarray, int]]  # a line as written -> (int16 samples, rate)


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
            if isinstance(fact, LineSpoken):
                found.update(dict.fromkeys(_SENTENCE.split(fact.text.strip())))
    return list(dict.fromkeys([*found, *_plain_lines(plan), *_where_lines(plan)]))


def _where_lines(plan: Plan) -> list[str]:
    """How the assistant says where one is: any step, in either wording."""
    steps = [*plan.steps, *(s for m in plan.mishaps.values() for s in m.steps)]
    firsts = dict.fromkeys(_SENTENCE.split(text)[0] for s in steps for text in (s.say, s.brief) if text)
    return [f"{en.LINES[name].format(step=first)}" for first in firsts for name in ("where", "returned")]


def _plain_lines(plan: Plan) -> list[str]:
    """Sentences that any procedure may need, as far as they hold nothing but words; and the site's own for a safe stop."""
    filled = [text.format_map(_Spoken(plan.spoken)) for text in en.LINES.values()] + list(plan.stop_says)
    return [s for text in filled for s in _SENTENCE.split(text) if len(s.split()) > 1 and "{" not in s and s[0].isupper()]


class _Spoken(dict[str, str]):
    def __missing__(self, key: str) -> str:
        return en.SPOKEN.get(key, f"{{{key}}}")


class AssistantEar:
    """Hears lines: `render` gives their sound, the fan is `snr_db` below it. Same seed, same noise.

    `words`, `errors`: what was said to it, and how many words of it came out otherwise. `classes`: sentences by what became
    of them, for the judge alone. Raises ModelError.
    """

    def __init__(self, sentences: Iterable[str], render: Render, seed: int = 0, snr_db: float = 20.0) -> None:
        import pocketsphinx

        self.words = self.errors = self.lines = self.exact = 0
        self.classes = dict.fromkeys(CLASSES, 0)
        self._render, self._snr_db = render, snr_db
        self._fan = FanNoise(seed, level_dbfs=-45.0, rate_hz=RATE_HZ)
        sentences = list(sentences)
        self._known = KnownLines(sentences)
        said = [words_of(s) for s in sentences]
        known = dictionary(bundled_dictionary_path())
        sounds = {w: _sounds(w, known) for w in {w for s in said for w in s} | set(OPEN_WORDS)}
        self.unknown = sorted(w for w, phones in sounds.items() if not phones)  # never heard
        rows = [f"{w}{'' if k == 0 else f'({k + 1})'} {p}" for w, phones in sorted(sounds.items()) for k, p in enumerate(phones)]
        folder = Path(pocketsphinx.get_model_path()) / "en-us" / "en-us"
        with tempfile.TemporaryDirectory(prefix="ear-") as scratch:
            words_file, model_file = Path(scratch) / "words.dict", Path(scratch) / "lines.lm"
            words_file.write_text("\n".join(rows) + "\n", encoding="utf-8")
            model_file.write_text(bigrams([s for s in said if all(sounds[w] for w in s)]), encoding="utf-8")
            try:
                self._decoder = pocketsphinx.Decoder(
                    hmm=str(folder), dict=str(words_file), lm=str(model_file), loglevel="FATAL", bestpath=False, maxhmmpf=3000, lw=8.0,
                )
            except (RuntimeError, ValueError) as error:
                raise ModelError(f"The operator's ear can't be made: {error}.", try_next="leave out --by-ear") from error

    def hears(self, text: str) -> Heard:
        """What a line as written is heard as, as it would be written; sentence by sentence, each rendered by itself. Sure
        only where every sentence is."""
        found = [self._sentence(part) for part in _SENTENCE.split(text.strip())]
        return Heard(" ".join(h.text for h in found if h.text), all(h.sure for h in found))

    def _sentence(self, text: str) -> Heard:
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
        found = self._known.nearest(heard)
        self._judge(text, heard, found)
        return found

    def _judge(self, text: str, heard: list[str], found: Heard) -> None:
        """For the figures: what was really said is compared here and nowhere else."""
        said = words_of(text)
        wrong = word_errors(said, heard)
        self.words, self.errors, self.lines, self.exact = (
            self.words + len(said), self.errors + wrong, self.lines + 1, self.exact + (wrong == 0))
        if not found.sure:
            kind = "not sure"
        elif words_of(found.text) == said or _joined(found.text) == _joined(text):
            kind = "right"
        elif pattern(words_of(found.text)) == pattern(said):
            kind = "value" if text.lower().startswith(("i understood", "so far")) else "time or count"
        else:
            kind = "another line" if u.understand(text).kind in u.DEMANDS or u.understand(found.text).kind in u.DEMANDS else "other news"
        self.classes[kind] += 1

    @property
    def word_error(self) -> float:
        """Part of the words heard wrongly, 0 without any."""
        return self.errors / self.words if self.words else 0.0

    def told(self) -> str:
        taken = ", ".join(f"{n} {kind}" for kind, n in self.classes.items() if n)
        return f"{self.exact} of {self.lines} sentences heard word for word; word error {100 * self.word_error:.1f} %; taken: {taken}."


class ByEar:
    """An operator that is told what its ear makes of each line, and asks again where it isn't sure; everything else is the
    operator's own."""

    def __init__(self, operator: Operator, ear: AssistantEar) -> None:
        self.operator, self.ear = operator, ear
        self._asked = 0

    def hear(self, text: str, ended_ms: int, role: str = "") -> None:
        """A line has been spoken to its end."""
        if not text:
            return
        heard = self.ear.hears(text)
        if not heard.sure and self._asked < MOST_REPEATS:
            self._asked += 1
            self.operator.asks_again(ended_ms)
            return
        self._asked = 0 if heard.sure else self._asked
        if heard.text:
            self.operator.hear(heard.text, ended_ms, role)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.operator, name)


def _joined(text: str) -> str:
    """The line with digits said one by one written as one number."""
    return re.sub(r"(?<=\d) (?=\d)", "", text)


def open_ear(
    ready: Any, persona: Persona, seed: int | str, voice: Any = None, sentences: Iterable[str] | None = None,
) -> AssistantEar:
    """An ear for one procedure and person: the assistant's own voice, the person's fan; `sentences` as `known_sentences`
    found them, if they were asked for already. Raises ModelError, VoiceError."""
    from assistant.speaking.open_voice import open_voice
    from assistant.speaking.voice import VOICES

    voice = voice or open_voice(VOICES["en"])

    def render(text: str) -> tuple[np.ndarray, int]:
        clip = voice.render(text)
        return clip.samples, clip.rate_hz

    return AssistantEar(known_sentences(ready.plan) if sentences is None else sentences, render, sum(str(seed).encode()), persona.voice.snr_db)


def _sounds(word: str, known: Any) -> list[str]:
    """A word's pronunciations, none where there is no telling."""
    try:
        return list(pronounce(word, known, _PRONOUNCED))
    except ModelError:
        return []

"""Words drill: says each command word, listens, shows what was heard, and keeps which ones a voice has trouble with."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from statistics import median
from typing import Any

import numpy as np

from assistant.hearing.listener import Listener
from assistant.hearing.people.profile import Profile, learnt_bars
from assistant.hearing.people.readiness import check_level
from assistant.hearing.utterance import Utterance
from assistant.hearing.vocabulary.packs import Pack
from assistant.language import vocabulary as words
from assistant.practice.operator.voice import RATE_HZ, OperatorVoice
from assistant.speaking.noise import active_speech_dbfs

TROUBLE_BELOW = 0.75  # of the tries heard right. Common practice, no source.
LEAST_SNR_DB = 15.0  # of speech over the room. Below it words are lost to most recognisers. Common practice, no source.
NEEDED = (words.CONFIRM, words.REWETTED, words.STOP)  # without one of these nobody can work by voice
LOUDER_DB = 6.0  # a raised voice over a normal one at the same place: 68.34 - 62.35 dB (ANSI S3.5-1997, table 1, from memory)
_BLOCK = RATE_HZ // 20

# Says a form and returns the sound the microphone then picks up, int16 mono 16 kHz.
Speaker = Callable[[str], np.ndarray]


@dataclass(frozen=True, slots=True)
class WordResult:
    """One command's result. `form`: as it was said; `heard`: what came of each try, "" where nothing did. `louder`:
    said louder than this person usually does."""

    word: str
    form: str
    tries: int
    right: int
    heard: tuple[str, ...]
    confidence: float
    louder: bool = False

    @property
    def trouble(self) -> bool:
        return self.right < TROUBLE_BELOW * self.tries


@dataclass(slots=True)
class WordsDrill:
    """What a drill showed of one person's voice against one engine. `forms`: command -> the form that was heard best, ""
    for none. `louder`: commands heard only when said louder. `snr_db`: speech over the room, the median of all tries.
    `right`: (command, confidence) of each try heard rightly; `levels`: RMS of 32768 of each."""

    person: str
    engine: str
    results: list[WordResult] = field(default_factory=list)
    forms: dict[str, str] = field(default_factory=dict)
    louder: list[str] = field(default_factory=list)
    snr_db: float = 0.0
    right: list[tuple[str, float]] = field(default_factory=list)
    levels: list[float] = field(default_factory=list)

    def trouble(self) -> list[str]:
        """Commands with no form that this voice can be understood with."""
        return sorted({r.word for r in self.results if self.forms.get(r.word, "") == ""})

    def verdict(self) -> list[str]:
        """What this person should know and do, a sentence each."""
        out, lost = [], self.trouble()
        first = {r.word: r.form for r in reversed(self.results)}
        if self.results and self.snr_db < LEAST_SNR_DB:
            out.append(f"This voice is only {self.snr_db:.0f} dB over the room. Speak louder, or bring the microphone nearer.")
        for result in {r.word: r for r in self.results}.values():
            word, form = result.word, self.forms.get(result.word, "")
            if word in self.louder:
                out.append(f"Say '{form}' louder than you usually do.")
            elif form and form != first[word]:
                out.append(f"Say '{form}' instead of '{first[word]}'.")
        out += [f"'{first.get(word, word)}' isn't understood in any form. Press its key." for word in lost if word not in NEEDED]
        needed = [f"'{first.get(word, word)}'" for word in NEEDED if word in lost]
        if needed:
            out.append(f"Not fit for work by voice as it is: {' and '.join(needed)} {'is' if len(needed) == 1 else 'are'} not understood in any "
                       "form, louder or not. Work with keys, or with another microphone, and drill again.")
        return out or ["Every word is understood as it is."]

    def as_json(self) -> dict[str, Any]:
        return {
            "person": self.person, "engine": self.engine, "forms": dict(sorted(self.forms.items())),
            "trouble": self.trouble(), "louder": sorted(self.louder), "snr_db": self.snr_db, "verdict": self.verdict(),
            "results": [asdict(r) for r in self.results],
        }

    def profile(self, pack: Pack) -> Profile:
        """What is kept of it: the profile that readiness check, live work and practice use. The bar for a word that
        confirms is never below the standard."""
        first = {r.word: r.form for r in reversed(self.results)}
        wrong = tuple(w for w, form in self.forms.items() if form != first.get(w))
        level = round(median(self.levels), 1) if self.levels else 0.0
        return Profile(
            self.person, pack.language, level, learnt_bars(self.right), wrong, len(self.forms),
            {w: (self.forms[w],) for w in wrong if self.forms[w]}, self.engine, tuple(self.louder), self.snr_db,
        )


def drill_words(
    listener: Listener, pack: Pack, speaker: Speaker, person: str, *, louder: Speaker | None = None, tries: int = 2,
    only: Sequence[str] = (),
    show: Callable[[WordResult], None] = lambda result: None,
) -> WordsDrill:
    """Each command `tries` times. Where its first form fails, the pack's other forms are offered in turn; where all
    fail, each is asked for once more with `louder`."""
    ratios: list[float] = []
    found = WordsDrill(person, str(listener.engine.describe().get("engine", "")))
    for word in only or [w for w in pack.say if w in words.ALL]:
        found.forms[word] = ""
        forms = pack.say.get(word, ())
        ways = [(form, speaker, False) for form in forms] + [(form, louder, True) for form in forms if louder]
        for form, speak, raised in ways:
            result = _try(listener, speak, word, form, tries, ratios, found, louder=raised)
            found.results.append(result)
            show(result)
            if not result.trouble:
                found.forms[word] = form
                found.louder += [word] if result.louder else []
                break
    found.snr_db = round(median(ratios), 1) if ratios else 0.0
    return found


def _try(
    listener: Listener, speaker: Speaker, word: str, form: str, tries: int, ratios: list[float], drill: WordsDrill, *,
    louder: bool,
) -> WordResult:
    heard, right, confidence = [], 0, 0.0
    for _ in range(tries):
        listener.set_active(words.ALL, None)
        sound = speaker(form)
        if not louder:
            ratios += _over_the_room(sound)
        spoken = _listen(listener, sound)
        taken = next((u for u in spoken if u.accepted and u.word), None)
        heard.append((taken.word or "") if taken else next((u.said for u in spoken if u.said), ""))
        if taken is not None and taken.word == word:
            right += 1
            confidence += taken.confidence
            if not louder:
                drill.right.append((word, taken.confidence))
                drill.levels += [rms for rms in (check_level(taken.clip).speech_rms,) if rms > 0]
    return WordResult(word, form, tries, right, tuple(heard), round(confidence / right, 3) if right else 0.0, louder)


def _over_the_room(sound: np.ndarray) -> list[float]:
    """The active level of what was said over the quietest tenth of 50 ms blocks, in dB; none without speech."""
    blocks = sound[: len(sound) // _BLOCK * _BLOCK].reshape(-1, _BLOCK).astype(np.float64)
    rms = np.sort(np.sqrt(np.mean(blocks**2, axis=1))) if len(blocks) else np.zeros(0)
    floor = float(rms[len(rms) // 10]) if len(rms) else 0.0
    if floor <= 0.0 or float(rms[-1]) < 2 * floor:
        return []
    return [active_speech_dbfs(sound, RATE_HZ) - 20 * math.log10(floor / 32767)]


def _listen(listener: Listener, sound: np.ndarray) -> list[Utterance]:
    out: list[Utterance] = []
    for at in range(0, len(sound), _BLOCK):
        out += listener.feed(sound[at:at + _BLOCK].astype("<i2").tobytes())
    return out + listener.flush()


def voice_speaker(voice: OperatorVoice, quiet_s: float = 0.8, louder_db: float = 0.0) -> Speaker:
    """A virtual operator as the person: the form over its fan, with `quiet_s` of fan before and after. `louder_db`:
    over its usual level."""
    rest, gain = round(quiet_s * RATE_HZ), 10 ** (louder_db / 20)

    def speak(form: str) -> np.ndarray:
        sound = voice.say(form)
        out = voice.fan(len(sound) + 2 * rest).astype(np.int32)
        out[rest:rest + len(sound)] += np.round(sound * gain).astype(np.int32)
        return np.clip(out, -32768, 32767).astype(np.int16)

    return speak

"""Words drill: says each command word, listens, shows what was heard, and keeps which ones a voice has trouble with."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from assistant.errors import SiteFileError
from assistant.hearing.listener import Listener
from assistant.hearing.packs import Pack
from assistant.hearing.utterance import Utterance
from assistant.practice.operator_voice import RATE_HZ, OperatorVoice
from assistant.session import words

TROUBLE_BELOW = 0.75  # of the tries heard right. Common practice, no source.
_BLOCK = RATE_HZ // 20

# Says a form and returns the sound the microphone then picks up, int16 mono 16 kHz.
Speaker = Callable[[str], np.ndarray]


@dataclass(frozen=True, slots=True)
class WordResult:
    """One command's result. `form`: as it was said; `heard`: what came of each try, "" where nothing did."""

    word: str
    form: str
    tries: int
    right: int
    heard: tuple[str, ...]
    confidence: float

    @property
    def trouble(self) -> bool:
        return self.right < TROUBLE_BELOW * self.tries


@dataclass(slots=True)
class HearingProfile:
    """One person's voice against one engine. `forms`: command -> the form that was heard best."""

    person: str
    engine: str
    results: list[WordResult] = field(default_factory=list)
    forms: dict[str, str] = field(default_factory=dict)

    def trouble(self) -> list[str]:
        """Commands with no form that this voice can be understood with."""
        return sorted({r.word for r in self.results if self.forms.get(r.word, "") == ""})

    def as_json(self) -> dict[str, Any]:
        return {
            "person": self.person, "engine": self.engine, "forms": dict(sorted(self.forms.items())),
            "trouble": self.trouble(), "results": [asdict(r) for r in self.results],
        }

    def save(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        half = path.with_suffix(".part")
        half.write_text(json.dumps(self.as_json(), indent=1) + "\n", encoding="utf-8")
        half.replace(path)

    @classmethod
    def load(cls, path: Path) -> HearingProfile:
        """Raises SiteFileError."""
        try:
            data = json.loads(path.read_text(encoding="utf-8"))
            results = [WordResult(**{**r, "heard": tuple(r["heard"])}) for r in data["results"]]
            return cls(data["person"], data["engine"], results, dict(data["forms"]))
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise SiteFileError(f"The hearing profile can't be read: {error}.", where=str(path)) from error


def drill_words(
    listener: Listener, pack: Pack, speaker: Speaker, person: str, *, tries: int = 2, only: Sequence[str] = (),
    show: Callable[[WordResult], None] = lambda result: None,
) -> HearingProfile:
    """Each command `tries` times. Where its first form fails, the pack's other forms are offered in turn."""
    profile = HearingProfile(person, str(listener.engine.describe().get("engine", "")))
    for word in only or [w for w in pack.say if w in words.ALL]:
        profile.forms[word] = ""
        for form in pack.say.get(word, ()):
            result = _try(listener, speaker, word, form, tries)
            profile.results.append(result)
            show(result)
            if not result.trouble:
                profile.forms[word] = form
                break
    return profile


def _try(listener: Listener, speaker: Speaker, word: str, form: str, tries: int) -> WordResult:
    heard, right, confidence = [], 0, 0.0
    for _ in range(tries):
        listener.set_active(words.ALL, None)
        found = _listen(listener, speaker(form))
        taken = next((u for u in found if u.accepted and u.word), None)
        heard.append((taken.word or "") if taken else next((u.said for u in found if u.said), ""))
        if taken is not None and taken.word == word:
            right += 1
            confidence += taken.confidence
    return WordResult(word, form, tries, right, tuple(heard), round(confidence / right, 3) if right else 0.0)


def _listen(listener: Listener, sound: np.ndarray) -> list[Utterance]:
    out: list[Utterance] = []
    for at in range(0, len(sound), _BLOCK):
        out += listener.feed(sound[at:at + _BLOCK].astype("<i2").tobytes())
    return out + listener.flush()


def voice_speaker(voice: OperatorVoice, quiet_s: float = 0.8) -> Speaker:
    """A virtual operator as the person: the form over its fan, with `quiet_s` of fan before and after."""
    rest = round(quiet_s * RATE_HZ)

    def speak(form: str) -> np.ndarray:
        sound = voice.say(form)
        out = voice.fan(len(sound) + 2 * rest).astype(np.int32)
        out[rest:rest + len(sound)] += sound
        return np.clip(out, -32768, 32767).astype(np.int16)

    return speak

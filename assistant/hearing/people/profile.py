"""A person's profile: level, thresholds and troublesome words, learnt from one spoken round of the vocabulary."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from assistant.errors import StorageError, UsageError
from assistant.hearing.judging.judge import Bars
from assistant.hearing.utterance import Utterance
from assistant.hearing.vocabulary.packs import Pack
from assistant.language import vocabulary as words

LEAST_MARGIN = 0.6       # a learnt bar lies at this part of the person's weakest right word
RAISED_MOST = 0.9
VERSION = 2


@dataclass(frozen=True)
class Profile:
    """What is kept about how one person sounds. No sound is kept.

    `speech_rms`: of 32768, median over the round. `bars`: never below the standard for a word that confirms.
    `troublesome`: command ids not heard rightly in their usual form. `round_size`: how many words were asked for.
    `engine`: whose confidences the bars were learnt from. `louder`: command ids heard only when said louder.
    `snr_db`: speech over the room, 0 where it wasn't measured.
    """

    name: str
    language: str
    speech_rms: float
    bars: Bars
    troublesome: tuple[str, ...] = ()
    round_size: int = 0
    alternatives: dict[str, tuple[str, ...]] = field(default_factory=dict)
    engine: str = ""
    louder: tuple[str, ...] = ()
    snr_db: float = 0.0

    def better_words(self, pack: Pack) -> dict[str, list[str]]:
        """Forms for the troublesome words, the alternative first. A word that confirms gets no form but the pack's own:
        only those are held against their rivals."""
        found: dict[str, list[str]] = {}
        for word in self.troublesome:
            own = list(pack.say.get(word, ()))
            free = [f for f in self.alternatives.get(word, ()) if pack.word_of(f) in (None, word) and f not in own[:1]]
            if word in words.CONFIRMING:
                free = [f for f in free if f in own]
            if own and free:
                found[word] = [free[0], *(f for f in own if f != free[0])]
        return found


def learnt_bars(right: list[tuple[str, float]]) -> Bars:
    """Bars from (command id, confidence) of words heard rightly. The bar for other words may fall with the person's own
    scores; the bar for confirming words may only rise."""
    standard = Bars()
    weakest = min((c for _, c in right), default=standard.other)
    confirming = min((c for w, c in right if w in words.CONFIRMING), default=0.0)
    return Bars(
        confirming=max(standard.confirming, min(RAISED_MOST, confirming * LEAST_MARGIN)),
        other=min(standard.other, weakest * LEAST_MARGIN) if len(right) >= 10 else standard.other,
    )


def learn(name: str, pack: Pack, asked: list[str], heard: list[Utterance | None], speech_rms: list[float],
          alternatives: dict[str, tuple[str, ...]] | None = None, engine: str = "") -> Profile:
    """A profile from one round: `asked` command ids and what was heard for each (None for nothing)."""
    if len(asked) != len(heard) or not asked:
        raise ValueError("one utterance or None for each word asked for, and at least one")
    wrong = tuple(w for w, u in zip(asked, heard, strict=False) if u is None or not u.accepted or u.word != w)
    right = [(w, u.confidence) for w, u in zip(asked, heard, strict=False) if u is not None and u.accepted and u.word == w]
    level = sorted(speech_rms)[len(speech_rms) // 2] if speech_rms else 0.0
    found = {w: (alternatives or {}).get(w, ()) for w in wrong if (alternatives or {}).get(w)}
    return Profile(name, pack.language, round(level, 1), learnt_bars(right), wrong, len(asked), found, engine)


def profile_folder() -> Path:
    import platformdirs

    return Path(platformdirs.user_data_dir("gauntlet-assistant")) / "profiles"


def profile_path(name: str, folder: Path | None = None) -> Path:
    """Where the profile of `name` is, or would be. Raises UsageError for a name that can't be one."""
    if not re.fullmatch(r"[\w][\w .-]{0,60}", name):
        raise UsageError(f"'{name}' can't be a profile's name.", expected="letters, digits, spaces, dots and dashes")
    return (folder or profile_folder()) / f"{name}.json"


def save_profile(profile: Profile, folder: Path | None = None) -> Path:
    """Write it; returns the path. Raises StorageError."""
    path = profile_path(profile.name, folder)
    data = {"version": VERSION, "name": profile.name, "engine": profile.engine, "language": profile.language, "speech_rms": profile.speech_rms,
            "bars": {"confirming": profile.bars.confirming, "other": profile.bars.other},
            "troublesome": list(profile.troublesome), "round_size": profile.round_size,
            "alternatives": {k: list(v) for k, v in profile.alternatives.items()},
            "louder": list(profile.louder), "snr_db": profile.snr_db}
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        half = path.with_suffix(".part")
        half.write_text(json.dumps(data, ensure_ascii=False, indent=1), encoding="utf-8")
        half.replace(path)
    except OSError as error:
        raise StorageError(f"The profile can't be written: {error.strerror}.", where=str(path)) from error
    return path


def _upcast(data: dict[str, Any]) -> dict[str, Any]:
    """The first version knew nothing of words to be said louder, and not how far the voice was over the room."""
    return {**data, "version": 2, "louder": [], "snr_db": 0.0} if data["version"] == 1 else data


def load_profile(name: str, folder: Path | None = None) -> Profile:
    """Read one. The bar for confirming words is held at the standard at least, whatever the file says."""
    path = profile_path(name, folder)
    try:
        data = _upcast(json.loads(path.read_text(encoding="utf-8")))
        if data["version"] != VERSION:
            raise UsageError(f"The profile was written by a newer version ({data['version']}).", where=str(path))
        standard = Bars()
        bars = Bars(max(standard.confirming, float(data["bars"]["confirming"])), float(data["bars"]["other"]))
        return Profile(data["name"], data["language"], float(data["speech_rms"]), bars, tuple(data["troublesome"]),
                       int(data["round_size"]), {k: tuple(v) for k, v in data["alternatives"].items()}, str(data.get("engine", "")),
                       tuple(data["louder"]), float(data["snr_db"]))
    except FileNotFoundError as error:
        raise UsageError(f"There is no profile '{name}'.", where=str(path), try_next=f"assistant profile {name}") from error
    except (ValueError, KeyError, TypeError) as error:
        raise UsageError("The profile can't be read.", where=str(path), try_next="make it again") from error

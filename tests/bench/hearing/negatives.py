"""What must not be accepted, by kind."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from assistant.hearing.vocabulary.packs import Pack
from tests.bench.hearing import noises, sentences, voices
from tests.training.near_misses import near_misses, near_phrases

HUMAN_FOLDER = "/usr/share/asterisk/sounds/en_US_f_Allison"   # Debian's asterisk-core-sounds-en-wav, CC-BY-SA-3.0
LONGEST_S = 6.0
BURSTS_EACH = 60

Piece = tuple[str, str, np.ndarray]


def human_folder() -> Path:
    """$HUMAN_PROMPTS, or where Debian's package puts them; it may not be there."""
    return Path(os.environ.get("HUMAN_PROMPTS", HUMAN_FOLDER))


def human_prompts(split: str) -> list[Path]:
    """Recorded human prompts where installed ($HUMAN_PROMPTS or Debian's package): every second file each split."""
    folder = human_folder()
    found = sorted(folder.glob("*.wav")) + sorted(folder.glob("*/*.wav")) if folder.is_dir() else []
    return found[0 if split == "tune" else 1::2]


def gather(pack: Pack, split: str, voice_list: tuple[str, ...], every: int = 1) -> Iterator[tuple[str, list[Piece]]]:
    """(kind, pieces). English sentences and near misses only for an English pack."""
    if pack.language == "en":
        for kind, lines in (("chat", sentences.CHAT), ("command inside a sentence", sentences.INSIDE),
                            ("assistant's lines", sentences.PROMPTS)):
            yield kind, [piece for v in voice_list for piece in _said(lines[split][::every], v)]
        for kind, texts in (("nearly confirming", sentences.NEARLY_CONFIRMING[split]), ("near phrases", near_phrases(pack, split)),
                            ("near misses", near_misses(pack, split))):
            yield kind, [piece for k, v in enumerate(voice_list) for piece in _said(texts[k % every::every], v)]
    recorded = [("", p.stem, human(p)) for p in human_prompts(split)[::every]]
    if recorded:
        yield "human prompts", recorded
    for kind in noises.KINDS:
        seeds = range(BURSTS_EACH) if split == "tune" else range(1000, 1000 + BURSTS_EACH)
        yield kind, [("", kind, noises.burst(kind, s)) for s in list(seeds)[::every]]


def _said(texts: Sequence[str], voice: str) -> list[Piece]:
    return [("", text, wave) for text, wave in zip(texts, voices.render_all(list(texts), voice), strict=False)]


def human(path: Path) -> np.ndarray:
    import soundfile
    import soxr

    samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
    mono = samples[: int(LONGEST_S * rate)].mean(axis=1)
    wave = voices.trim(soxr.resample(mono, rate, 16_000) if rate != 16_000 else mono)
    return wave if len(wave) > 800 else np.full(800, 1e-3, dtype=np.float32)

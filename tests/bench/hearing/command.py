"""`assistant measure hearing`: the figures of the whole chain, each engine that is here, with a baseline."""

from __future__ import annotations

import json
import os
import time
from functools import partial
from pathlib import Path

import click

from assistant.errors import UsageError
from assistant.hearing.engines import vosk_models as models
from assistant.hearing.engines.choosing import open_engine
from assistant.hearing.listener import Listener
from assistant.hearing.vocabulary.packs import Pack, load_pack
from assistant.language import vocabulary as words
from tests.bench.hearing import voices
from tests.bench.hearing.baseline import PocketsphinxBaseline, VoskBaseline
from tests.bench.hearing.figures import Figures
from tests.bench.hearing.many_utterances import many_utterances
from tests.bench.hearing.negatives import human_prompts
from tests.bench.hearing.noise_hours import noise_hours
from tests.bench.hearing.recorded_signs import recorded_figures
from tests.bench.hearing.value_figures import value_figures
from tests.training.fixtures import KOREAN

DEFAULT_EVERY = 4
CLOCKS = {"wall": time.perf_counter, "processor": time.thread_time}
PARTS = ("words", "noise", "values", "many")
KOREAN_VOICES = (KOREAN, "espeak:ko+f2:50:140")


@click.command("hearing")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.option("--engine", "only", type=click.Choice(["pocketsphinx", "vosk"]), default=None, help="Only this engine.")
@click.option("--full", is_flag=True, help="Every word and sentence, a day of noise, 2 000 values: hours.")
@click.option("--every", default=DEFAULT_EVERY, show_default=True, help="Take only every so many-th word and sentence.")
@click.option("--turns", default=1, show_default=True, help="Say all words and sentences so many times, each over another stretch of fan.")
@click.option("--hours", default=0.1, show_default=True, help="So many hours of fan, coughs, knocks and alarms.")
@click.option("--values", default=8, show_default=True, help="So many spoken numbers and lots with their read back.")
@click.option("--many", default=0, show_default=True, help="So many utterances through the Korean pack on Vosk: does it stay up?")
@click.option("--part", "parts", multiple=True, type=click.Choice(PARTS),
              help="Only this part (again for more): words, hours of noise, values, many utterances.")
@click.option("--journal", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="Keeps what the hours of noise found; started again with it, they go on. One engine at a time.")
@click.option("--split", type=click.Choice(["report", "tune"]), default="report", help="The sounds to report on, or those tuned on.")
@click.option("--clock", type=click.Choice(sorted(CLOCKS)), default="wall", show_default=True,
              help="Computing time by the wall, or (embedded engine) by the processor: as on an idle machine.")
def hearing(as_json: bool, only: str | None, full: bool, every: int, turns: int, hours: float, values: int, many: int,
            parts: tuple[str, ...], journal: Path | None, split: str, clock: str) -> None:
    """Measure hearing: recall, confusions, false accepts, latency, processor. A few minutes on two idle cores."""
    if full:
        every, turns, hours, values, many = 1, 4, 8.0, 2000, 2000
    if journal is not None and only is None:
        raise UsageError("A journal is of one engine.", where="--journal", try_next="add --engine")
    found = measure_hearing(only, every, hours, values, split, clock, say=lambda text: click.echo(text, err=True),
                            many=many, parts=parts or PARTS, journal=journal, turns=turns)
    click.echo(json.dumps(found, ensure_ascii=False) if as_json else json.dumps(found, ensure_ascii=False, indent=2))


def measure_hearing(only: str | None = None, every: int = 1, hours: float = 0.0, value_count: int = 0,
                    split: str = "report", clock: str = "wall", say=lambda text: None, *, many: int = 0,
                    parts: tuple[str, ...] = PARTS, journal: Path | None = None, turns: int = 1) -> dict[str, object]:
    """{"engines": [...], "baseline": [...], "skipped": [...]} as described in the figures' modules.

    `every`, `turns`, `hours`, `value_count`, `many`: how much of each of `parts`; none of a part whose number is 0.
    """
    natural = list(voices.NATURAL_REPORT if split == "report" else voices.NATURAL_TUNE)
    formant = voices.FORMANT_REPORT if split == "report" else voices.FORMANT_TUNE
    skipped = [f"voice {v} isn't here" for v in natural if not voices.available(v)]
    here = tuple(v for v in natural if voices.available(v))
    if not human_prompts(split):
        skipped.append("human recordings: Debian's asterisk-core-sounds-en-wav isn't installed and $HUMAN_PROMPTS isn't set")
    engines, baselines = [], []
    for name, language, folder in _engines(only, skipped):
        pack = load_pack(language)
        voice_list = (*here, *formant) if language == "en" else KOREAN_VOICES
        opened = open_engine(language, folder, name)
        try:
            say(f"{name} ({language})")
            about = opened.describe()
            entry: dict[str, object] = {"name": name, "language": language, "model": about["model"],
                                        "model_sha256": about["model_sha256"]}
            make = partial(_listener, opened, pack, clock)
            plain = partial(_baseline, name, pack, folder)
            if "words" in parts:
                figures = Figures(make, pack, say)
                for turn in range(turns):
                    figures.commands(voice_list, every, split, turn)
                    figures.negatives(split, here[:2] + formant[:1] if language == "en" else voice_list, every, turn)
                entry |= figures.result()
            if hours and "noise" in parts:
                entry["day_of_noise"] = noise_hours(make, hours, plain=plain, journal=journal, say=say,
                                                    about=f"{name} {language} {about['model_sha256']} {sorted(pack.forms)}")
            if value_count and language == "en" and "values" in parts:
                entry["values"] = value_figures(make, (*here, *formant[:1]), value_count, say)
                entry["recorded_signs"] = recorded_figures(make)
            if many and language == "ko" and "many" in parts:
                entry["many_utterances"] = many_utterances(make, pack, many, KOREAN, say)
            engines.append(entry)
            if "words" in parts:
                say(f"{name} ({language}), plain grammar and its own endpoints")
                plain_figures = Figures(plain, pack, say)
                plain_figures.commands(voice_list[:2], max(every, 3), split)
                plain_figures.negatives(split, voice_list[:1], max(every, 3))
                baselines.append({"name": name, "language": language, **plain_figures.result()})
        finally:
            opened.close()
    return {"engines": engines, "baseline": baselines, "split": split, "every": every, "turns": turns, "clock": clock,
            "machine": {"cores": os.cpu_count(), "load_average_1_min": _load()}, "skipped": skipped}


def _listener(engine, pack: Pack, clock: str) -> Listener:
    listener = Listener(engine, pack, clock=CLOCKS[clock])
    listener.set_active(words.ALL)
    return listener


def _load() -> float | None:
    return round(os.getloadavg()[0], 1) if hasattr(os, "getloadavg") else None


def _baseline(name: str, pack: Pack, folder: Path | None):
    return PocketsphinxBaseline(pack) if name == "pocketsphinx" else VoskBaseline(pack, folder)


def _engines(only: str | None, skipped: list[str]) -> list[tuple[str, str, Path | None]]:
    """(engine, language, model folder) of what can be measured here; what can't goes into `skipped`."""
    found: list[tuple[str, str, Path | None]] = []
    if only in (None, "pocketsphinx"):
        found.append(("pocketsphinx", "en", None))
    if only in (None, "vosk"):
        english = models.find("en")
        if english:
            found.append(("vosk", "en", english))
        else:
            skipped.append("Vosk with an English model: NOT MEASURED HERE, none is installed; the Korean pack stands in")
        korean = models.find("ko")
        if korean:
            found.append(("vosk", "ko", korean))
        else:
            skipped.append("Vosk with the Korean model: NOT MEASURED HERE, the test extra isn't installed")
    return found

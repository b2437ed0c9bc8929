"""`assistant hear FILE...`: what the listener makes of recordings."""

from __future__ import annotations

import json
from pathlib import Path

import click

from assistant.errors import UsageError
from assistant.hearing.engines.choosing import NAMES, open_engine
from assistant.hearing.listener import Listener
from assistant.hearing.people.profile import load_profile
from assistant.hearing.sound.wav_source import WavSource
from assistant.hearing.utterance import Utterance
from assistant.hearing.values.parsing import KINDS
from assistant.hearing.vocabulary.packs import load_pack
from assistant.language import vocabulary as words


@click.command("hear")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="One line of JSON per file.")
@click.option("--engine", type=click.Choice(NAMES), default=None, help="Which engine listens.")
@click.option("--language", default="en", show_default=True, help="Language pack.")
@click.option("--model", type=click.Path(path_type=Path), default=None, help="A Vosk model's folder, .zip or .aar.")
@click.option("--active", default=None, help="Commands that count, separated by commas. All, if left out.")
@click.option("--expect", type=click.Choice(KINDS), default=None, help="A value is asked for.")
@click.option("--profile", "profile_name", default=None, help="A person's profile (see `assistant profile`).")
@click.option("--convert", is_flag=True, help="Bring other rates and stereo to 16 kHz mono.")
def hear(files: tuple[Path, ...], as_json: bool, engine: str | None, language: str, model: Path | None,
         active: str | None, expect: str | None, profile_name: str | None, convert: bool) -> None:
    """Say what is heard in recordings (WAV or FLAC, 16 kHz mono)."""
    chosen = _active(active)
    sources = [WavSource(path, convert=convert) for path in files]
    pack = load_pack(language)
    bars = load_profile(profile_name).bars if profile_name else None
    opened = open_engine(language, model, engine)
    try:
        for path, source in zip(files, sources, strict=False):
            listener = Listener(opened, pack, bars=bars)
            listener.set_active(chosen, expect)
            found = [u for block in source.blocks() for u in listener.feed(block)] + listener.flush()
            warnings = source.notes + listener.level.warnings()
            if as_json:
                click.echo(json.dumps({"file": str(path), "utterances": [as_dict(u) for u in found], "warnings": warnings},
                                      ensure_ascii=False))
            else:
                _show(path, found, listener)
            for warning in warnings:
                click.echo(f"{path}: {warning}", err=True)
    finally:
        opened.close()


def as_dict(u: Utterance) -> dict[str, object]:
    """An utterance as the commands print it."""
    return {"start_s": u.start_s, "end_s": u.end_s, "decided_s": u.decided_s, "word": u.word,
            "value": None if u.value is None else {"kind": u.value.kind, "text": u.value.text},
            "said": u.said, "accepted": u.accepted, "reason": u.reason, "confidence": round(u.confidence, 4),
            "scores": {k: round(v, 4) for k, v in u.scores.items()}}


def _active(text: str | None) -> frozenset[str]:
    if text is None:
        return words.ALL
    chosen = frozenset(w.strip() for w in text.split(",") if w.strip())
    for word in sorted(chosen - words.ALL):
        raise UsageError(f"'{word}' isn't a command.", where="--active", expected=", ".join(sorted(words.ALL)))
    return chosen


def _show(path: Path, found: list[Utterance], listener: Listener) -> None:
    click.echo(f"{path}: {len(found)} utterance{'s' * (len(found) != 1)}")
    for u in found:
        what = u.value.text if u.value else u.word or "-"
        verdict = "accepted" if u.accepted else f"refused: {u.reason}"
        click.echo(f"  {u.start_s:8.2f} s  {what:16} \"{u.said}\"  {u.confidence:.2f}  {verdict}")

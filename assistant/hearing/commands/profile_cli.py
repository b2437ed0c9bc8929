"""`assistant profile NAME`: one spoken round of the vocabulary, kept as a person's profile."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import click

from assistant.hearing.engines.choosing import NAMES, open_engine
from assistant.hearing.listener import Listener
from assistant.hearing.people.profile import Profile, learn, save_profile
from assistant.hearing.people.readiness import check_level
from assistant.hearing.sound.headset import HeadsetSource
from assistant.hearing.sound.source import Source
from assistant.hearing.sound.wav_source import WavSource
from assistant.hearing.utterance import Utterance
from assistant.hearing.vocabulary.confusability import suggestions
from assistant.hearing.vocabulary.packs import Pack, load_pack

ANSWER_WITHIN_S = 6.0


@click.command("profile")
@click.argument("name")
@click.option("--from", "recording", type=click.Path(path_type=Path), default=None,
              help="A recording of the round instead of the microphone: the words in the order shown by --list.")
@click.option("--list", "only_list", is_flag=True, help="Show the words of the round and stop.")
@click.option("--mic", default=None, help="Microphone: number or part of its name.")
@click.option("--language", default="en", show_default=True)
@click.option("--engine", type=click.Choice(NAMES), default=None)
@click.option("--model", type=click.Path(path_type=Path), default=None)
@click.option("--json", "as_json", is_flag=True)
def profile(name: str, recording: Path | None, only_list: bool, mic: str | None, language: str, engine: str | None,
            model: Path | None, as_json: bool) -> None:
    """Learn how a person sounds from one spoken round of the vocabulary."""
    pack = load_pack(language)
    if only_list:
        for word_id, forms in pack.say.items():
            click.echo(f"{word_id}: {forms[0]}")
        return
    listener = Listener(open_engine(language, model, engine), pack)
    source: Source = WavSource(recording) if recording else HeadsetSource(int(mic) if mic and mic.isdigit() else mic)
    try:
        found = run_round(name, pack, listener, source, prompt=lambda text: click.echo(text, err=True),
                          in_order=recording is not None)
    finally:
        source.close()
        listener.close()
    path = save_profile(found)
    if as_json:
        click.echo(json.dumps({"name": found.name, "speech_rms": found.speech_rms, "bars": vars(found.bars),
                               "troublesome": list(found.troublesome), "round_size": found.round_size,
                               "alternatives": {k: list(v) for k, v in found.alternatives.items()}, "path": str(path)}))
        return
    click.echo(f"{found.round_size - len(found.troublesome)} of {found.round_size} words understood. Kept in {path}.")
    for word in found.troublesome:
        better = ", ".join(found.alternatives.get(word, ())) or "the keys"
        click.echo(f"  {word}: try {better}")


def run_round(name: str, pack: Pack, listener: Listener, source: Source, prompt: Callable[[str], None], in_order: bool = False) -> Profile:
    """Ask for each word once. In a recording words come in order; live each has ANSWER_WITHIN_S."""
    asked = list(pack.say)
    listener.set_active(frozenset(asked))
    heard: list[Utterance | None] = []
    if in_order:
        found = [u for block in source.blocks() for u in listener.feed(block)] + listener.flush()
        spoken = [u for u in found if u.reason != "too short for a word"]
        heard = [spoken[k] if k < len(spoken) else None for k in range(len(asked))]
    else:
        blocks = source.blocks()
        for word in asked:
            prompt(f"Say: {pack.say[word][0]}")
            heard.append(_next_utterance(listener, blocks))
    levels = [check_level(u.clip).speech_rms for u in heard if u is not None and u.accepted]
    better = {w: tuple(suggestions(pack, w)) for w in asked} if pack.language == "en" else {}
    return learn(name, pack, asked, heard, [v for v in levels if v > 0], better,
                 str(listener.engine.describe().get("engine", "")))


def _next_utterance(listener: Listener, blocks: Iterator[bytes]) -> Utterance | None:
    until = listener.position_s + ANSWER_WITHIN_S
    for block in blocks:
        for u in listener.feed(block):
            if u.reason != "too short for a word":
                return u
        if listener.position_s > until:
            return None
    return None

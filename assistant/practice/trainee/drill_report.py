"""`assistant practice --words-drill`: what a person is shown of the drill, and where its profile is kept."""

from __future__ import annotations

import click

from assistant.errors import SoundDeviceError
from assistant.hearing.vocabulary.packs import Pack
from assistant.practice.operator.persona import load_persona
from assistant.practice.trainee.words_drill import WordResult
from assistant.station.account.json_out import print_json

_OTHER = "--microphone with another one (assistant devices lists them), or without it: --persona NAME shows the drill"


def drill_the_words(trainee: str, persona: str | None, microphone: str | None, as_json: bool) -> int:
    """Each word said, by a person at the microphone or in a persona's voice, and what was heard; a person's profile is
    kept. Raises SoundDeviceError without a microphone, UsageError for a name no profile can have."""
    from assistant.hearing.engines.choosing import open_engine
    from assistant.hearing.listener import Listener
    from assistant.hearing.people.profile import profile_path, save_profile
    from assistant.hearing.vocabulary.packs import load_pack
    from assistant.practice.operator.voice import OperatorVoice
    from assistant.practice.trainee.words_drill import LOUDER_DB, drill_words, voice_speaker

    if not persona:
        profile_path(trainee)  # a name that can't be kept is refused before anyone speaks
        from assistant.practice.trainee.microphone_drill import microphone_speaker

        try:
            speaker, louder = microphone_speaker(lambda text: click.echo(text, err=True), microphone)
        except SoundDeviceError as error:
            raise SoundDeviceError(error.what, where=error.where, try_next=_OTHER) from error
    else:
        voice = OperatorVoice(load_persona(persona).voice, 1)
        speaker, louder = voice_speaker(voice), voice_speaker(voice, louder_db=LOUDER_DB)
    pack = load_pack("en")
    listener = Listener(open_engine("en"), pack, latency_s=0.0)
    try:
        found = drill_words(
            listener, pack, speaker, trainee, louder=louder,
            show=lambda result: click.echo(f"  {told(result, pack)}", err=as_json),
        )
    finally:
        listener.close()
    kept = None if persona else save_profile(found.profile(pack))
    if as_json:
        print_json({**found.as_json(), "kept": str(kept or ""), "skipped": []})
        return 0
    for sentence in ["", *found.verdict(), f"Kept in {kept}." if kept else "Nothing is kept: this was a persona's voice."]:
        click.echo(f"  {sentence}".rstrip())
    return 0


def told(result: WordResult, pack: Pack) -> str:
    """One word's line: what was said, how often it was understood, and what was heard instead, in words that are said."""
    others = dict.fromkeys(_as_said(heard, pack) for heard in result.heard if heard != result.word)
    how = "louder: " if result.louder else ""
    return f"{result.form:<20} {how}understood {result.right} of {result.tries}" + (f"; heard: {', '.join(others)}" if others else "")


def _as_said(heard: str, pack: Pack) -> str:
    return pack.say[heard][0] if pack.say.get(heard) else heard or "nothing"

"""`assistant vocabulary`: the words in use and how confusable they are."""

from __future__ import annotations

import json
from pathlib import Path

import click

from assistant.errors import FindingsError, ModelError
from assistant.hearing.engines.choosing import NAMES, open_engine
from assistant.hearing.engines.recogniser import Engine
from assistant.hearing.vocabulary.confusability import TOO_CLOSE, pairs
from assistant.hearing.vocabulary.packs import Pack, load_pack
from assistant.hearing.vocabulary.site_words import better, objections, parsed, with_site_words


@click.command("vocabulary")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.option("--language", default="en", show_default=True)
@click.option("--engine", type=click.Choice(NAMES), default=None)
@click.option("--model", type=click.Path(path_type=Path), default=None)
@click.option("--closest", default=12, show_default=True, help="How many of the most confusable pairs to show.")
@click.option("--try", "tries", multiple=True, metavar="ID=WORDS", help="Check a site's own words for a command, as `site_words` of an enclosure file has them.")
def vocabulary(as_json: bool, language: str, engine: str | None, model: Path | None, closest: int,
               tries: tuple[str, ...]) -> None:
    """Show the spoken commands, and check a site's own words."""
    pack = load_pack(language)
    opened = open_engine(language, model, engine)
    try:
        against = list(objections(pack, tries))
        if tries and not against:
            _known(opened, pack, tries)
        opened.load(pack)
        name = str(opened.describe()["engine"])
    finally:
        opened.close()
    near = pairs(pack)[:closest] if language == "en" else []
    if as_json:
        click.echo(json.dumps({
            "engine": name, "words": [{"id": k, "say": list(v), "language": language} for k, v in pack.say.items()],
            "experimental": pack.experimental, "too_close_from": TOO_CLOSE,
            "pairs": [{"a": p.a, "b": p.b, "likeness": p.likeness} for p in near],
            "skipped": [] if language == "en" else ["likeness of words: there is no pronunciation dictionary for this language"],
        }, ensure_ascii=False))
    else:
        if pack.experimental:
            click.echo("This language pack is experimental.")
        for word_id, forms in pack.say.items():
            click.echo(f"  {word_id:16} {' / '.join(forms)}")
        for p in near:
            click.echo(f"  {p.likeness:.2f}  {p.a} ~ {p.b}{'  TOO CLOSE' if p.too_close else ''}")
    if against:
        raise FindingsError(" ".join(o.message for o in against), try_next="; ".join(dict.fromkeys(o.try_next for o in against)))


def _known(engine: Engine, pack: Pack, tries: tuple[str, ...]) -> None:
    """Raises FindingsError where the engine's own model lacks a word."""
    try:
        engine.load(with_site_words(pack, tries))
    except ModelError as error:
        wanted = [found for found in map(parsed, tries) if found is not None]
        raise FindingsError(error.what, where=error.where, expected=error.expected,
                            try_next="; ".join(better(pack, word, form) for word, form in wanted)) from error

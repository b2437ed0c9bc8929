"""`assistant vocabulary`: the words in use and how confusable they are."""

from __future__ import annotations

import json
from pathlib import Path

import click

from assistant.errors import FindingsError, UsageError
from assistant.session import words

from .confusability import TOO_CLOSE, check_form, pairs, suggestions
from .engines import NAMES, open_engine
from .packs import load_pack


@click.command("vocabulary")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.option("--language", default="en", show_default=True)
@click.option("--engine", type=click.Choice(NAMES), default=None)
@click.option("--model", type=click.Path(path_type=Path), default=None)
@click.option("--closest", default=12, show_default=True, help="How many of the most confusable pairs to show.")
@click.option("--try", "tries", multiple=True, metavar="ID=WORDS", help="Check a site's own words for a command.")
def vocabulary(as_json: bool, language: str, engine: str | None, model: Path | None, closest: int,
               tries: tuple[str, ...]) -> None:
    """Show the spoken commands, and check a site's own words."""
    pack = load_pack(language)
    opened = open_engine(language, model, engine)
    try:
        against = []
        for attempt in tries:
            word_id, _, form = attempt.partition("=")
            if word_id not in words.ALL or not form:
                raise UsageError(f"'{attempt}' isn't ID=WORDS.", where="--try", expected="one of " + ", ".join(sorted(words.ALL)))
            if language == "en":
                against += [(word_id, reason) for reason in check_form(pack, word_id, form.lower())]
            if not against:
                opened.load(pack.with_words({word_id: [form.lower()]}))
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
        better = {w: suggestions(pack, w) for w, _ in against}
        raise FindingsError("; ".join(reason for _, reason in against),
                            try_next="; ".join(f"{w}: {', '.join(b) or 'another word'}" for w, b in better.items()))

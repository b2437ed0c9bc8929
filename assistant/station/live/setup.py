"""Everything a session needs before it can begin, opened in the order in which it can fail most cheaply."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from assistant.account.plans import dressed
from assistant.errors import SiteFileError, UsageError
from assistant.hearing.engines.choosing import open_engine
from assistant.hearing.engines.recogniser import Engine
from assistant.hearing.vocabulary.packs import Pack, load_pack
from assistant.hearing.vocabulary.site_words import objections, with_site_words
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import Loaded, load_procedure
from assistant.procedure.loading.problems import nearest
from assistant.procedure.model.plan import Plan


@dataclass(frozen=True, slots=True)
class Prepared:
    """A procedure ready to run in one language: its files, its plan, and how commands are said."""

    loaded: Loaded
    plan: Plan
    pack: Pack


def prepare(
    procedure: str, *, folder: Path | None = None, language: str = "en", today: str = "",
    words: dict[str, list[str]] | None = None,
) -> Prepared:
    """Load, compile and dress. `words`: a site's or person's own spoken forms by command id.

    Raises SiteFileError, UsageError.
    """
    loaded = load_procedure(procedure, folder)
    pack = _said_here(load_pack(language), loaded)
    if words:
        pack = pack.with_words(words)
    plan = dressed(compile_plan(loaded, language), {k: list(v) for k, v in pack.say.items()}, today)
    return Prepared(loaded, plan, pack)


def _said_here(pack: Pack, loaded: Loaded) -> Pack:
    """The pack with the site's own words, which are English."""
    entries = loaded.enclosure.site_words
    if pack.language != "en" or not entries:
        return pack
    for found in objections(pack, entries):
        file, line, _ = loaded.place(loaded.enclosure, f"site_words.{found.index}")
        raise SiteFileError(found.message, where=f"{file}:{line}", try_next=found.try_next)
    return with_site_words(pack, entries)


def known_options(plan: Plan, options: tuple[tuple[str, bool], ...]) -> tuple[tuple[str, bool], ...]:
    """The same options. Raises UsageError for one that this procedure doesn't ask."""
    names = [option.id for option in plan.options]
    for name, _ in options:
        if name not in names:
            raise UsageError(
                f"{plan.title} has no option '{name}'.", where="--option", expected=", ".join(names) or "none",
                try_next=nearest(name, names),
            )
    return options


def shipped_folder() -> Path:
    """The site files that come with the program, wherever it is started from."""
    return Path(__file__).resolve().parents[3] / "procedures"


def listening_engine(language: str, model: Path | str | None, engine: str | None) -> Engine:
    """The speech engine. Raises ModelError, UsageError."""
    return open_engine(language, model, engine)


def vocabulary(pack: Pack) -> dict[str, list[str]]:
    """Command ids and spoken forms, for the record's header."""
    return {word: list(forms) for word, forms in pack.say.items()}

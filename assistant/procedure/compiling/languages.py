"""Which languages a procedure is worded in, and which of its spoken texts are missing in one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from assistant.procedure.compiling.spoken import spoken_fields
from assistant.procedure.loading.load import Loaded
from assistant.procedure.model.enclosure import Named
from assistant.procedure.model.kinds import Agent, Node

NAMES = {"en": "English", "ko": "Korean"}


@dataclass(frozen=True, slots=True)
class SpokenText:
    """One spoken text of a site file: where it stands, what it belongs to, its wordings."""

    node: Node
    field: str
    owner: str
    text: dict[str, str]


@dataclass(frozen=True, slots=True)
class Coverage:
    """How much of a procedure is worded in `language`. `promised`: the procedure says that all of it is."""

    procedure: str
    language: str
    texts: int
    missing: int
    promised: bool

    def as_dict(self) -> dict[str, object]:
        """The object as `assistant check --json` prints it."""
        return asdict(self)

    def sentence(self) -> str:
        """In plain words."""
        name = NAMES.get(self.language, self.language)
        if not self.missing:
            return f"{self.procedure}: complete in {name}."
        return f"{self.procedure}: {self.missing} of {self.texts} texts aren't in {name}; they are said in English."


def spoken_texts(loaded: Loaded) -> list[SpokenText]:
    """Every text that a run of this procedure can say, each once, with the names of what its steps speak of."""
    found: dict[tuple[object, ...], SpokenText] = {}
    for text in _texts(loaded):
        found.setdefault((text.node.file, text.node.path, text.field), text)
    return list(found.values())


def _texts(loaded: Loaded) -> Iterator[SpokenText]:
    p, e = loaded.procedure, loaded.enclosure
    yield SpokenText(p, "title", "the title", p.title)
    for i, text in enumerate(p.cautions):
        yield SpokenText(p, f"cautions.{i}", "a caution", text)
    for option in p.options:
        yield SpokenText(option, "ask", f"the question {option.id}", option.ask)
        if option.claim:
            yield SpokenText(option, "claim", f"the question {option.id}", option.claim)
    yield from _named(e, "the enclosure")
    for pair, text in e.moves.items():
        yield SpokenText(e, f"moves.{pair}", f"the move {pair}", text)
    for i, text in enumerate(e.stop_says):
        yield SpokenText(e, f"stop_says.{i}", "what is said at a stop", text)
    steps = list(loaded.steps)
    for mishap in loaded.mishaps:
        steps += mishap.steps
        for field in ("title", "tell", "asks_which"):
            if text := getattr(mishap.model, field):
                yield SpokenText(mishap.model, field, f"the branch {mishap.id}", text)
    tables: dict[str, Sequence[Named | Agent]] = {
        "surface": e.surfaces, "agent": loaded.agents.agents, "opening": e.openings, "cycle": e.cycles,
        "machine": e.machines, "gauge": e.gauges,
    }  # fmt: skip
    for flat in steps:
        for field, text in spoken_fields(flat.model):
            yield SpokenText(flat.model, field, flat.id, text)
        for kind, items in tables.items():
            wanted = flat.surface if kind == "surface" and flat.surface else getattr(flat.model, kind, None)
            for item in items:
                if item.id == wanted:
                    yield from _named(item, f"the {kind} {item.id}")


def _named(item: Any, owner: str) -> Iterator[SpokenText]:
    yield SpokenText(item, "name", owner, item.name)
    for field in ("pronounce", "how"):
        if text := getattr(item, field, None):
            yield SpokenText(item, field, owner, text)


def missing_in(loaded: Loaded, language: str) -> list[SpokenText]:
    """The spoken texts that have no wording in `language`."""
    return [t for t in spoken_texts(loaded) if language not in t.text]


def coverage(loaded: Loaded) -> list[Coverage]:
    """For every language but English that any text of this procedure is worded in, or that it promises."""
    texts = spoken_texts(loaded)
    known = {language for t in texts for language in t.text} | set(loaded.procedure.languages)
    return [
        Coverage(
            loaded.procedure.id,
            language,
            len(texts),
            sum(language not in t.text for t in texts),
            language in loaded.procedure.languages,
        )
        for language in sorted(known - {"en"})
    ]

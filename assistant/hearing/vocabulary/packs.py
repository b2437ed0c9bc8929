"""Language packs: how each command is said, as data."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path

from assistant.errors import SiteFileError, UsageError
from assistant.language import vocabulary as words


@dataclass(frozen=True)
class Pack:
    """One language's words.

    `say`: command id -> spoken forms, best first. `pronunciations`: spoken word or form -> phoneme strings where the
    model's dictionary needs help. `decoys`: words that are listened for only to be refused. `rivals`: phrases that must
    lose to a confirming word on the sound alone, command id -> phrases (embedded engine). `spoken`: number, letter
    and date words (see numbers, letters, dates); empty where the language has none yet.
    """

    language: str
    say: dict[str, tuple[str, ...]]
    experimental: bool = False
    pronunciations: dict[str, tuple[str, ...]] = field(default_factory=dict)
    decoys: tuple[str, ...] = ()
    spoken: dict[str, dict[str, str]] = field(default_factory=dict)
    rivals: dict[str, tuple[str, ...]] = field(default_factory=dict)
    _ids: dict[str, str] = field(init=False, repr=False, compare=False)  # spoken form -> command id

    def __post_init__(self) -> None:
        seen: dict[str, str] = {}
        for word_id, forms in self.say.items():
            if word_id not in words.ALL:
                raise SiteFileError(f"'{word_id}' isn't a command.", where=f"language pack {self.language}",
                                    expected="one of " + ", ".join(sorted(words.ALL)))
            for form in forms:
                if form in seen:
                    raise SiteFileError(f"'{form}' is said for both {seen[form]} and {word_id}.",
                                        where=f"language pack {self.language}", try_next="give one of them another word")
                seen[form] = word_id
        object.__setattr__(self, "_ids", seen)

    def word_of(self, form: str) -> str | None:
        """Command id of a spoken form, or None."""
        return self._ids.get(form)

    @property
    def forms(self) -> list[str]:
        return list(self._ids)

    def with_words(self, changes: dict[str, list[str]]) -> Pack:
        """The same pack with a site's own spoken forms in place of the given ids' forms."""
        say = dict(self.say)
        for word_id, forms in changes.items():
            say[word_id] = tuple(forms)
        return Pack(self.language, say, self.experimental, self.pronunciations, self.decoys, self.spoken, self.rivals)


def load_pack(language: str = "en", path: str | Path | None = None) -> Pack:
    """The packaged pack of a language, or one from a JSON file. Raises UsageError, SiteFileError."""
    folder = resources.files("assistant.hearing") / "packs"
    if path is None:
        source = folder / f"{language}.json"
        if not source.is_file():
            known = sorted(p.name[:-5] for p in folder.iterdir() if p.name.endswith(".json"))
            raise UsageError(f"There is no language pack '{language}'.", expected="one of " + ", ".join(known))
        text, where = source.read_text(encoding="utf-8"), f"language pack {language}"
    else:
        where = str(path)
        try:
            text = Path(path).read_text(encoding="utf-8")
        except OSError as error:
            raise SiteFileError(f"The language pack can't be read: {error.strerror}.", where=where) from error
    try:
        data = json.loads(text)
        return Pack(
            language=data["language"],
            say={k: tuple(v) for k, v in data["say"].items()},
            experimental=bool(data.get("experimental", False)),
            pronunciations={k: tuple(v) for k, v in data.get("pronunciations", {}).items()},
            decoys=tuple(data.get("decoys", ())),
            spoken=data.get("spoken", {}),
            rivals={k: tuple(v) for k, v in data.get("rivals", {}).items()},
        )
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise SiteFileError(f"The language pack isn't valid: {error}", where=where,
                            expected='an object with "language" and "say"') from error

"""Personas: how a virtual operator speaks, works and errs, as data read from YAML with located errors."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap
from ruamel.yaml.error import MarkedYAMLError

from assistant.errors import SiteFileError

M = TypeVar("M", bound=BaseModel)
Rate = Field(default=0.0, ge=0.0, le=1.0)


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class VoiceData(_Part):
    """`voice`: a synthesiser's name such as en-gb+f2; `pitch` 0-99; `speed_wpm`; `level_dbfs` while it sounds;
    `snr_db` over the fan."""

    voice: str = "en-gb+f2"
    pitch: int = Field(default=55, ge=0, le=99)
    speed_wpm: int = Field(default=140, ge=80, le=450)
    level_dbfs: float = Field(default=-24.0, ge=-50.0, le=-12.0)
    snr_db: float = Field(default=20.0, ge=-10.0, le=60.0)


class Pace(_Part):
    """`work`: factor on how long work takes; `answer_s`: from knowing to speaking; `patience_s`: before asking."""

    work: float = Field(default=1.0, gt=0.0, le=5.0)
    answer_s: float = Field(default=0.7, ge=0.0, le=30.0)
    patience_s: float = Field(default=7.0, ge=1.0, le=120.0)


class Errors(_Part):
    """Chances, each per occasion. `says_started`: of naming the first stroke. `claims_early`: of confirming before
    it is done, at `early_part` of the work. `misses_rewet`: of not acting on a re-wet. `chats`: of a sentence to
    somebody else. `wrong_word`: of another command than meant. `mishears`: of taking a neighbouring surface.
    `slips`: of a step that goes wrong; `owns_up`: of saying so. `reuses_wipe`: of not taking the fresh face.
    `talks_over`: of answering before the assistant has finished. `asks_again`: of asking for the line again. `unheard`, `misheard`: only without sound: of an
    utterance the listener misses, or takes for another word."""

    says_started: float = Rate
    claims_early: float = Rate
    early_part: float = Field(default=0.5, ge=0.0, le=0.95)
    misses_rewet: float = Rate
    chats: float = Rate
    wrong_word: float = Rate
    mishears: float = Rate
    slips: float = Rate
    owns_up: float = Rate
    reuses_wipe: float = Rate
    talks_over: float = Rate
    asks_again: float = Rate
    unheard: float = Rate
    misheard: float = Rate


class Persona(_Part):
    """One virtual operator."""

    id: str
    title: str
    voice: VoiceData = VoiceData()
    pace: Pace = Pace()
    errors: Errors = Errors()


def persona_names() -> list[str]:
    """Ids of the personas that come with the program, in order."""
    folder = resources.files("assistant.practice") / "personas"
    return sorted(p.name.removesuffix(".yaml") for p in folder.iterdir() if p.name.endswith(".yaml"))


def load_persona(name: str) -> Persona:
    """A persona by id, or from a file ending in .yaml. Raises SiteFileError with file and line."""
    if name.endswith((".yaml", ".yml")):
        try:
            return read_persona(Path(name).read_text(encoding="utf-8"), str(Path(name)))
        except (OSError, UnicodeDecodeError) as error:
            raise SiteFileError(f"The persona can't be read: {error}.", where=name) from error
    names = persona_names()
    if name not in names:
        raise SiteFileError(
            f"There is no persona '{name}'.", expected="one of " + ", ".join(names),
            try_next="name one of these, or a file ending in .yaml",
        )
    path = resources.files("assistant.practice") / "personas" / f"{name}.yaml"
    return read_persona(path.read_text(encoding="utf-8"), f"{name}.yaml")


def read_persona(text: str, where: str) -> Persona:
    """A persona from YAML text. Raises SiteFileError with the line of the first thing wrong."""
    return read_model(Persona, text, where, "persona")


def read_model(model: type[M], text: str, where: str, what: str) -> M:
    """YAML text as a model; errors name file and line. Raises SiteFileError."""
    try:
        data = YAML(typ="rt").load(text)
    except MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        raise SiteFileError(f"This isn't YAML: {error.problem}.", where=f"{where}:{line}") from error
    if not isinstance(data, dict):
        raise SiteFileError(f"This isn't a {what}.", where=f"{where}:1", expected="names and values, one a line")
    try:
        return model.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        line, path = _line_of(data, first["loc"])
        raise SiteFileError(
            f"{path}: {first['msg'][:1].lower()}{first['msg'][1:]}.", where=f"{where}:{line}",
            expected=f"a {what} as in the ones that come with the program",
        ) from error


def _line_of(data: Any, loc: tuple[int | str, ...]) -> tuple[int, str]:
    """The line of the deepest part of `loc` that is in the file, and its path in words."""
    line, here = 1, data
    for part in loc:
        try:
            line = (here.lc.key(part) if isinstance(here, CommentedMap) else here.lc.item(part))[0] + 1
            here = here[part]
        except (KeyError, AttributeError, IndexError, TypeError):
            break
    return line, ".".join(str(part) for part in loc) or "the file"

"""What all site-file models share: strictness, places, texts in several languages, quantities, references.

Pure: quantities are turned into numbers by a converter handed in through the validation context, so that the
model needs no unit library.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, Any, TypeAlias

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PrivateAttr,
    ValidationInfo,
    WithJsonSchema,
)

NAME_PATTERN = r"^[a-z][a-z0-9]*(?:[-_][a-z0-9]+)*$"
# A reference may be a placeholder that an include or a repeat fills in; steps inside an include have dots.
REF_PATTERN = r"^(\{[a-z_]+\}|[a-z][a-z0-9]*(?:[-_.][a-z0-9]+)*)$"
MAX_TEXT = 600

Name = Annotated[str, Field(pattern=NAME_PATTERN, max_length=60)]
Ref = Annotated[str, Field(pattern=REF_PATTERN, max_length=120)]


class Node(BaseModel):
    """A mapping of a site file. Unknown keys are refused; every node knows its file and path."""

    model_config = ConfigDict(extra="forbid", populate_by_name=True)
    _file: str = PrivateAttr(default="")
    _path: tuple[str | int, ...] = PrivateAttr(default=())
    _line: int = PrivateAttr(default=0)
    _raw: Any = PrivateAttr(default=None)  # the plain values it came from, for repeats

    @property
    def file(self) -> str:
        """The file this node was read from, as shown in messages."""
        return self._file

    @property
    def path(self) -> tuple[str | int, ...]:
        """The path of this node inside its file."""
        return self._path

    @property
    def line(self) -> int:
        """The line where this node begins, from 1; 0 if unknown."""
        return self._line


def _text(value: Any) -> Any:
    """One text or a text per language; a bare text is English."""
    if isinstance(value, str):
        value = {"en": value}
    if not isinstance(value, dict):
        raise ValueError("expected a text, or a text for each language such as {en: ..., ko: ...}")
    out: dict[str, str] = {}
    for language, text in value.items():
        if not re.fullmatch(r"[a-z]{2}", str(language)):
            raise ValueError(f"{language!r} isn't a language code of two letters, such as en")
        if not isinstance(text, str) or not text.strip():
            raise ValueError(f"the text for {language} is missing or isn't text")
        if len(text) > MAX_TEXT:
            raise ValueError(f"the text for {language} has {len(text)} characters; at most {MAX_TEXT}")
        out[language] = " ".join(text.split())
    if "en" not in out:
        raise ValueError("the English text (en) is missing")
    return out


_LANGUAGES_SCHEMA = {
    "type": "object",
    "required": ["en"],
    "minProperties": 1,
    "patternProperties": {"^[a-z]{2}$": {"type": "string", "minLength": 1, "maxLength": MAX_TEXT}},
    "additionalProperties": False,
}
Text = Annotated[
    dict[str, str],
    BeforeValidator(_text),
    WithJsonSchema({"anyOf": [{"type": "string", "minLength": 1, "maxLength": MAX_TEXT}, _LANGUAGES_SCHEMA]}),
]


def in_language(text: dict[str, str] | None, language: str) -> str:
    """The text in `language`, else in English, else ""."""
    if not text:
        return ""
    return text.get(language) or text.get("en", "")


def _quantity(target: str, *, signed: bool, whole: bool) -> Callable[[Any, ValidationInfo], Any]:
    def check(value: Any, info: ValidationInfo) -> Any:
        if value is None:
            return None
        if isinstance(value, str) and re.fullmatch(r"\{[a-z_]+\}", value):
            return value  # a placeholder of a part
        convert = (info.context or {}).get("convert")
        if convert is None:
            raise ValueError("quantities need a converter in the validation context")
        number = convert(value, target)
        if not signed and number < 0:
            raise ValueError(f"{value} is negative")
        if whole:
            return int(number.to_integral_value(rounding="ROUND_CEILING"))
        return number

    return check


def _quantity_type(base: type, target: str, *, signed: bool = False, whole: bool = False) -> Any:
    schema = {
        "anyOf": [
            {"type": "string", "pattern": r"^\s*[-+]?[0-9]{1,12}(\.[0-9]{1,9})?\s*[A-Za-z%µ°]"},
            {"type": "string", "pattern": r"^\{[a-z_]+\}$"},
        ],
        "description": f"A number with a unit that can be turned into {target}.",
    }
    return Annotated[
        base | str, BeforeValidator(_quantity(target, signed=signed, whole=whole)), WithJsonSchema(schema)
    ]


if TYPE_CHECKING:  # a placeholder of a part, which is text, is filled in before anybody reads it
    Duration: TypeAlias = int
    Area: TypeAlias = int
    VolumeM3: TypeAlias = Decimal
    VolumeML: TypeAlias = Decimal
    AirflowM3H: TypeAlias = Decimal
    PerArea: TypeAlias = Decimal
    Percent: TypeAlias = Decimal
    Days: TypeAlias = Decimal
    WipeSpeed: TypeAlias = Decimal
else:
    Duration = _quantity_type(int, "ms", whole=True)  # whole milliseconds
    Area = _quantity_type(int, "cm2", whole=True)  # whole square centimetres
    VolumeM3 = _quantity_type(Decimal, "m3")
    VolumeML = _quantity_type(Decimal, "mL")
    AirflowM3H = _quantity_type(Decimal, "m3/h")
    PerArea = _quantity_type(Decimal, "mL/m2")
    Percent = _quantity_type(Decimal, "%")
    Days = _quantity_type(Decimal, "day")
    WipeSpeed = _quantity_type(Decimal, "cm2/s")


def _decimal_text(value: Any) -> Any:
    """A reading's limit: exact decimal text, never a float's approximation."""
    if isinstance(value, bool):
        raise ValueError("expected a number")
    if isinstance(value, (int, float)):
        value = repr(value)
    if not isinstance(value, str) or not re.fullmatch(r"[-+]?[0-9]{1,12}(\.[0-9]{1,9})?", value):
        raise ValueError(f"{str(value)[:40]!r} isn't a plain decimal number")
    return value


DecimalText = Annotated[str, BeforeValidator(_decimal_text), WithJsonSchema({"type": ["string", "number"]})]


def _yes_no(value: Any) -> Any:
    if value in ("yes", "no"):
        return value == "yes"
    if not isinstance(value, bool):
        raise ValueError("expected yes or no")
    return value


YesNo = Annotated[
    bool, BeforeValidator(_yes_no), WithJsonSchema({"anyOf": [{"type": "boolean"}, {"enum": ["yes", "no"]}]})
]

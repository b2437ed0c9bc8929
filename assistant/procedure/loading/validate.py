"""Plain values into a typed model; every complaint of the model as a located problem with the nearest name."""

from __future__ import annotations

import re
import types
import typing
import unicodedata
from typing import Any

from pydantic import TypeAdapter, ValidationError

from assistant.procedure.loading.problems import Problem, nearest
from assistant.procedure.loading.tree import Key, Tree
from assistant.procedure.loading.units import convert
from assistant.procedure.loading.upcast import CURRENT
from assistant.procedure.model.kinds import Node

CONTEXT = {"convert": convert}
_ONE_OF = {"urgency": ": person, containment or work"}  # after the name of a key that is missing


class Kept(list[Any]):
    """A list some items of which were taken out; `at` holds where each one left stands in the file."""

    at: list[int]


def validate(kind: type[Node], data: Any, tree: Tree, base: Key = ()) -> tuple[Any, list[Problem]]:
    """`data` as `kind` (None when it isn't valid) and the problems found, located in `tree` under `base`."""
    try:
        model = adapter_for(kind).validate_python(data, context=CONTEXT)
    except ValidationError as error:
        return None, [
            problem_of(e, kind, data, tree, base, real_path(tuple(e["loc"]), data))
            for e in error.errors(include_url=False)
        ]
    attach(model, data, tree.file, base, tree)
    return model, []


_ADAPTERS: dict[str, TypeAdapter[Any]] = {}


def adapter_for(kind: Any) -> TypeAdapter[Any]:
    """What checks values against a model, or against a list of models; made once."""
    adapter = _ADAPTERS.get(str(kind))
    if adapter is None:
        adapter = _ADAPTERS[str(kind)] = TypeAdapter(kind)
    return adapter


def attach(model: Any, data: Any, file: str, path: Key, tree: Tree) -> None:
    """Tells every node of a model its file, path and line."""
    if isinstance(model, Node):
        model._file, model._path, model._line = file, path, tree.place(path)[0]
        model._raw = data
        for name, info in type(model).model_fields.items():
            key = info.alias if info.alias and isinstance(data, dict) and info.alias in data else name
            if isinstance(data, dict) and key in data:
                attach(getattr(model, name), data[key], file, (*path, key), tree)
    elif isinstance(model, list) and isinstance(data, list):
        places = data.at if isinstance(data, Kept) else range(len(data))
        for i, m, d in zip(places, model, data, strict=True):
            attach(m, d, file, (*path, i), tree)
    elif isinstance(model, dict) and isinstance(data, dict):
        for key, m in model.items():
            if isinstance(m, Node):
                attach(m, data.get(key), file, (*path, key), tree)


def real_path(loc: tuple[Any, ...], data: Any) -> Key:
    """Pydantic's location without the tags of unions and the names of inner validators."""
    path: list[Any] = []
    here = data
    for part in loc:
        if isinstance(here, dict):
            if part == here.get("do") and path and isinstance(path[-1], int):
                # The tag comes once, directly after the list index; a field of the same name follows it.
                here = _Tagged(here)
                continue
            if part in here:
                path.append(part)
                here = here[part]
                continue
            path.append(part)
            return tuple(path)
        if isinstance(here, _Tagged):
            if part in here.data:
                path.append(part)
                here = here.data[part]
                continue
            path.append(part)
            return tuple(path)
        if isinstance(here, list) and isinstance(part, int) and part < len(here):
            path.append(part)
            here = here[part]
            continue
        break
    return tuple(path)


class _Tagged:
    """A step whose union tag has been passed in a location."""

    def __init__(self, data: dict[Any, Any]) -> None:
        self.data = data


def problem_of(error: Any, kind: Any, data: Any, tree: Tree, base: Key, place: Key) -> Problem:
    """A complaint of the model in plain words. `place`: where in the file under `base` it is, if items of `data` were
    taken out before."""
    path = real_path(tuple(error["loc"]), data)
    full = (*base, *place)
    code, context = error["type"], error.get("ctx", {})
    name = str(path[-1]) if path else ""
    if path and isinstance(path[-1], int):
        name = f"Item {place[-1] + 1}"
    if code == "missing":
        return tree.problem(full[:-1], f"{name} is missing.", f"the key {name}{_ONE_OF.get(name, '')}")
    if code == "extra_forbidden":
        valid = _keys_at(kind, path[:-1], data)
        line, column = tree.key_places.get(full, tree.place(full))
        return Problem(
            tree.file,
            line,
            column,
            f"There is no key {name} here.",
            "a key this place knows",
            nearest(name, valid),
        )
    if code in ("literal_error", "union_tag_invalid"):
        valid = re.findall(r"'([^']+)'", str(context.get("expected") or context.get("expected_tags", "")))
        found = context.get("tag", error.get("input"))
        where = full if code == "literal_error" else (*full, "do")
        shown = str(found)[:60]
        if name == "format":
            return tree.problem(
                where,
                f"Format {shown} isn't known here.",
                f"format: {CURRENT}",
                "A newer format needs a newer version of this program.",
            )
        return tree.problem(
            where,
            f"{shown} isn't known here.",
            ", ".join(valid[:12]) or "another value",
            nearest(shown, valid),
        )
    if code == "union_tag_not_found":
        return tree.problem(full, "The step doesn't say what it does.", "a key do, such as do: instruct")
    message = str(error["msg"]).removeprefix("Value error, ")
    if code == "string_pattern_mismatch":
        message = f"{str(error.get('input'))[:60]!r} isn't a valid name here"
        expected = "lower-case letters, digits, '-' and '_', beginning with a letter"
        if "stop|again" in str(context.get("pattern", "")):
            message = f"{str(error.get('input'))[:60]!r} isn't an outcome"
            expected = "stop, again, deviate or mishap:<id>"
        return tree.problem(full, message + ".", expected, _foreign_letter(str(error.get("input"))))
    if code in ("too_short", "too_long", "string_too_long", "string_too_short"):
        few = code.endswith("short")
        bound = context.get("min_length") if few else context.get("max_length")
        return tree.problem(
            full,
            f"{name or 'This'} is too {'short' if few else 'long'}.",
            f"at {'least' if few else 'most'} {bound} {'items' if 'string' not in code else 'characters'}",
        )
    if code in ("greater_than_equal", "less_than_equal"):
        bound = context.get("ge", context.get("le"))
        return tree.problem(
            full,
            f"{name} is {_shown(error.get('input'))}.",
            f"a number not {'below' if code.startswith('greater') else 'above'} {bound}",
        )
    message = message[0].upper() + message[1:]
    found = error.get("input")
    expected = ""
    if code.endswith("_type") or code.endswith("_parsing"):
        expected = _EXPECTED.get(code) or message.removeprefix("Input should be ")
        message = f"{name or 'The value'} is {_shown(found)}"
    return tree.problem(full, message.rstrip(".") + ".", expected)


def _foreign_letter(text: str) -> str:
    """A sentence about the first letter that only looks like a plain one, or ""."""
    for at, letter in enumerate(text[:60], 1):
        if ord(letter) > 127:
            name = unicodedata.name(letter, "no name").lower()
            return f"Letter {at} is U+{ord(letter):04X} ({name}); type it anew."
    return ""


_EXPECTED = {
    "string_type": 'text; a number or a yes that is meant as text stands in quotes, such as "1"',
    "list_type": "a list, such as [a, b]",
    "dict_type": "a mapping, such as {key: value}",
    "model_type": "a mapping, such as {key: value}",
    "model_attributes_type": "a mapping, such as {key: value}",
}


def _shown(value: Any) -> str:
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list):
        return "a list"
    if value is None:
        return "empty"
    return repr(value)[:60]


def _keys_at(kind: Any, path: Key, data: Any) -> list[str]:
    """The keys the model knows at `path`."""
    here, value = kind, data
    for part in (*path, None):
        here = _narrow(here, value)
        if part is None:
            break
        if isinstance(here, type) and issubclass(here, Node):
            match = [i.annotation for n, i in here.model_fields.items() if part in (n, i.alias)]
            here = match[0] if match else None
        value = value[part] if isinstance(value, (dict, list)) else None
    if isinstance(here, type) and issubclass(here, Node):
        return [i.alias or n for n, i in here.model_fields.items()]
    return []


def _narrow(annotation: Any, value: Any) -> Any:
    """From an annotation to the one model class that fits `value`: through lists, options and tagged unions."""
    origin = typing.get_origin(annotation)
    if origin is typing.Annotated:
        return _narrow(typing.get_args(annotation)[0], value)
    if origin in (list, dict):
        inner = typing.get_args(annotation)[-1]
        # The list itself and its items meet here one after another; the item decides.
        return (
            inner
            if isinstance(value, (list, dict))
            and not _is_step(value)
            and origin is list
            and isinstance(value, list)
            else _narrow(inner, value)
        )
    if origin in (typing.Union, types.UnionType):
        options = [_narrow(a, value) for a in typing.get_args(annotation)]
        models = [o for o in options if isinstance(o, type) and issubclass(o, Node)]
        if isinstance(value, dict) and "do" in value:
            for m in models:
                field = m.model_fields.get("do")
                if field is not None and value["do"] in typing.get_args(field.annotation):
                    return m
        return models[0] if models else None
    return annotation


def _is_step(value: Any) -> bool:
    return isinstance(value, dict) and "do" in value

"""What changed between two revisions, in plain sentences, from their plans as plain values."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from assistant.procedure.compiling.spoken import spoken_duration
from assistant.procedure.model.plan import Plan

_NAMES = {
    "say": "the words",
    "brief": "the brief words",
    "why": "the reason",
    "caution": "the caution",
    "look_for": "what to look for",
    "claim": "what is claimed",
    "policy": "how it is confirmed",
    "reach": "where it is done",
    "when": "when it applies",
    "requires": "what must hold before",
    "expected_ms": "the estimate",
    "floor_ms": "the time that counts as too quick",
    "impossible_ms": "the time that is impossible",
    "surface": "the surface",
    "agent": "the agent",
    "contact_ms": "the contact time",
    "wet_ms": "the wet time",
    "lead_ms": "the lead of a re-wet",
    "wait_for": "what it waits for",
    "opening": "the opening",
    "cycle": "the cycle",
    "machine": "the machine",
    "machine_value": "the machine's state",
    "hands": "where the hands go",
    "on_no": "what happens on no",
    "unit": "the unit",
    "low": "the lower limit",
    "high": "the upper limit",
    "on_outside": "what happens outside the limits",
    "within_ms": "its time limit",
    "after_step": "what its limit runs from",
    "opens_when": "its interlock",
    "closes_when": "when it may be closed",
    "duration_ms": "its time",
    "starts_when": "when it may start",
    "max_open_ms": "how long it may be open",
    "area_cm2": "its area",
    "material": "its material",
    "spoils": "what it spoils",
    "then": "what comes after",
    "breaks_cycles": "whether it breaks cycles",
}
# Where a step stands in a file, and names that follow from ids, aren't changes of the procedure.
_SILENT = {"file", "line", "agent_name", "steps"}


def plan_values(plan: Plan) -> dict[str, Any]:
    """A plan as plain JSON values, to be kept beside an approval and compared with the next."""
    values = asdict(plan)
    values["interlocks"] = sorted(sorted(group) for group in plan.interlocks)
    for key in ("files", "spoken", "today"):
        values.pop(key, None)
    return {key: _plain(value) for key, value in values.items()}


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    return value


def changes(old: dict[str, Any], new: dict[str, Any]) -> list[str]:
    """One sentence a change, cautions and safety first as they come; empty when nothing changed."""
    out: list[str] = []
    for key, shown in (
        ("title", "The title"),
        ("revision", "The revision"),
        ("purpose", "The purpose"),
        ("enclosure", "The enclosure"),
        ("start_hands", "Where the hands begin"),
        ("end_hands", "Where the hands end"),
    ):
        if old.get(key) != new.get(key):
            out.append(f"{shown} was {_shown(key, old.get(key))} and is {_shown(key, new.get(key))}.")
    for caution in _gone(old.get("cautions", []), new.get("cautions", [])):
        out.append(f"A caution was taken out: {caution}")
    for caution in _gone(new.get("cautions", []), old.get("cautions", [])):
        out.append(f"A caution was added: {caution}")
    out += _steps("", old["steps"], new["steps"])
    for group, shown in (
        ("surfaces", "Surface"),
        ("openings", "Opening"),
        ("cycles", "Cycle"),
        ("mishaps", "Mishap"),
    ):
        out += _items(shown, old.get(group, {}), new.get(group, {}))
    for mishap in sorted(set(old.get("mishaps", {})) & set(new.get("mishaps", {}))):
        out += _steps(
            f"In the mishap {mishap}: ", old["mishaps"][mishap]["steps"], new["mishaps"][mishap]["steps"]
        )
    old_options = {o["id"]: o for o in old.get("options", [])}
    new_options = {o["id"]: o for o in new.get("options", [])}
    out += _items("Question", old_options, new_options)
    if old.get("interlocks") != new.get("interlocks"):
        out.append("The interlocks changed.")
    return out


def _gone(before: list[Any], after: list[Any]) -> list[Any]:
    return [x for x in before if x not in after]


def _items(shown: str, old: dict[str, Any], new: dict[str, Any]) -> Iterator[str]:
    for name in old:
        if name not in new:
            yield f"{shown} {name} was taken out."
    for name, item in new.items():
        if name not in old:
            yield f"{shown} {name} was added."
        else:
            yield from _fields(f"{shown} {name}", old[name], item)


def _fields(what: str, old: dict[str, Any], new: dict[str, Any]) -> Iterator[str]:
    for key in new:
        if key not in _SILENT and old.get(key) != new.get(key):
            name = _NAMES.get(key, key.replace("_", " "))
            yield f"{what}: {name} was {_shown(key, old.get(key))} and is {_shown(key, new.get(key))}."


def _steps(prefix: str, old: list[dict[str, Any]], new: list[dict[str, Any]]) -> Iterator[str]:
    before, after = {s["id"]: s for s in old}, {s["id"]: s for s in new}
    for step_id in before:
        if step_id not in after:
            yield f"{prefix}Step {step_id} was taken out: {before[step_id]['say']}"
    place = {s["id"]: (new[i - 1]["id"] if i else "") for i, s in enumerate(new)}
    for step_id, step in after.items():
        if step_id not in before:
            where = f"after {place[step_id]}" if place[step_id] else "at the start"
            yield f"{prefix}Step {step_id} was added {where}: {step['say']}"
        else:
            yield from _fields(f"{prefix}Step {step_id}", before[step_id], step)
    kept_old = [i for i in before if i in after]
    kept_new = [i for i in after if i in before]
    if kept_old != kept_new:
        matcher = difflib.SequenceMatcher(a=kept_old, b=kept_new, autojunk=False)
        stayed = {
            kept_old[i]
            for block in matcher.get_matching_blocks()
            for i in range(block.a, block.a + block.size)
        }
        for step_id in kept_new:
            if step_id not in stayed:
                where = f"after {place[step_id]}" if place[step_id] else "at the start"
                yield f"{prefix}Step {step_id} was moved; it now comes {where}."


def _shown(key: str, value: Any) -> str:
    if key.endswith("_ms") and isinstance(value, int):
        return spoken_duration(value) if value else "none"
    if value in ("", None, [], ()):
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return "; ".join(_shown("", v) for v in value)
    if isinstance(value, dict):
        return " ".join(str(v) for v in value.values() if v not in ("", [], None))
    return f'"{value}"' if " " in str(value) else str(value)

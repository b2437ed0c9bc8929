"""Rules about waste: bagged inside, closed, wiped, passed out, gloves changed, before the clean is complete."""

from __future__ import annotations

from collections.abc import Iterable

from assistant.procedure.rules.base import Hit, rule
from assistant.procedure.rules.walk import Context

_CLEANS = ("light", "rigorous", "sporicidal", "under_tray", "glove_change", "spill", "end_of_day")


def _roles(walk) -> list[tuple[str, object]]:
    return [(r, v.flat) for v in walk if (r := getattr(v.flat.model, "role", None))]


@rule("waste-not-out", "Used wipes leave in a closed, wiped bag before the run ends.")
def waste_not_out(c: Context) -> Iterable[Hit]:
    if c.procedure.purpose not in _CLEANS:
        return
    for walk in c.walks().values():
        inside = [i for i, v in enumerate(walk) if v.step.kind == "wet" and v.step.reach == "gauntlets"]
        if not inside:
            continue
        later = [getattr(v.flat.model, "role", None) for v in walk[inside[-1] :]]
        for role, what in (("bag_ready", "bagged"), ("waste_passed_out", "passed out")):
            if role not in later:
                yield (
                    walk[inside[-1]].flat.model,
                    "",
                    f"The wipes used by then are never {what}.",
                    "Include the waste part after the last wiping inside.",
                )
                return


@rule("wipes-left-outside", "Wipes used from the room are binned before the door closes, the gloves change or hands go in.")
def wipes_left_outside(c: Context) -> Iterable[Hit]:
    seen = set()
    for walk in c.walks().values():
        last = None  # the wet step whose wipes are still in the hand
        for v in walk:
            if v.step.kind == "wet":
                last = v if v.step.reach == "room" else None
                continue
            role = getattr(v.flat.model, "role", None)
            if role in ("wipes_binned", "bag_ready"):
                last = None
            elif last and (v.step.kind in ("move", "close") or role == "outer_glove_change" or v is walk[-1]):
                if last.flat.id not in seen:
                    seen.add(last.flat.id)
                    yield (
                        v.flat.model,
                        "",
                        f"{v.flat.id} comes while the wipes of {last.flat.id} are still in the hand.",
                        "Add a step with role wipes_binned before it.",
                    )
                last = None


@rule("waste-unclosed", "A waste bag is closed before it leaves.")
def waste_unclosed(c: Context) -> Iterable[Hit]:
    yield from _before(
        c, "waste_passed_out", "waste_closed", "isn't closed before it leaves", "Close it inside."
    )


@rule("waste-unwiped", "A waste bag's outside is wiped, after it is closed, before it leaves.")
def waste_unwiped(c: Context) -> Iterable[Hit]:
    yield from _before(
        c, "waste_passed_out", "waste_wiped", "isn't wiped before it leaves", "Wipe it after closing."
    )
    for walk in c.walks().values():
        order = [(i, r, f) for i, (r, f) in enumerate(_roles(walk))]
        for i, role, flat in order:
            if role == "waste_wiped" and not any(r == "waste_closed" and j < i for j, r, _ in order):
                yield flat.model, "role", "The bag is wiped before it is closed.", "Close it first."
                return


def _before(c: Context, what: str, needed: str, message: str, suggestion: str) -> Iterable[Hit]:
    seen = set()
    for walk in c.walks().values():
        ready = False
        for role, flat in _roles(walk):
            if role == needed:
                ready = True
            elif role == what:
                if not ready and flat.id not in seen:
                    seen.add(flat.id)
                    yield flat.model, "role", f"The waste bag {message} ({flat.id}).", suggestion
                ready = False


@rule("gloves-after-waste", "Outer gloves are changed after the waste has left.")
def gloves_after_waste(c: Context) -> Iterable[Hit]:
    for walk in c.walks().values():
        roles = _roles(walk)
        out = [i for i, (r, _) in enumerate(roles) if r == "waste_passed_out"]
        if out and not any(r == "outer_glove_change" for r, _ in roles[out[-1] :]):
            yield (
                roles[out[-1]][1].model,
                "",
                "The outer gloves aren't changed after the waste.",
                "Change them.",
            )
            return


@rule(
    "waste-past-interlock", "Waste leaves under the interlock: by a door or port that is open for it alone."
)
def waste_past_interlock(c: Context) -> Iterable[Hit]:
    interlocked = {o for g in c.enclosure.interlocks for o in g}
    seen = set()
    for v in c.visits():
        if getattr(v.flat.model, "role", None) == "waste_passed_out" and v.flat.id not in seen:
            if sum(v.openings.get(o) == "open" for o in interlocked) != 1:
                seen.add(v.flat.id)
                yield (
                    v.flat.model,
                    "",
                    f"{v.flat.id} comes while no interlocked opening, or more than one, is open.",
                    "Open the outer door before, and nothing else.",
                )

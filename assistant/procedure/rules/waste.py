"""Rules about waste: bagged inside, closed, wiped, passed out, gloves changed, before the clean is complete."""

from __future__ import annotations

from collections.abc import Iterable

from assistant.procedure.compiling.expand import FlatStep
from assistant.procedure.rules.base import Hit, rule
from assistant.procedure.rules.walk import Context, Visit

_CLEANS = ("light", "rigorous", "sporicidal", "under_tray", "glove_change", "spill", "end_of_day")


def _roles(walk: list[Visit]) -> list[tuple[str, FlatStep]]:
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


def _outer_doors(c: Context) -> set[str]:
    """The doors that break a purge: what waste leaves an airlock by."""
    return {o for x in c.enclosure.cycles if x.kind == "purge" for o in x.broken_by_openings}


@rule("airlock-after-waste", "After the last waste passed the airlock, the airlock is disinfected again.")
def airlock_after_waste(c: Context) -> Iterable[Hit]:
    outer = _outer_doors(c)
    for walk in c.walks().values():
        last, again = None, False
        for v in walk:
            through = any(v.openings.get(o) == "open" for o in outer)
            if getattr(v.flat.model, "role", None) == "waste_passed_out" and through:
                last, again = v, False
            elif v.step.kind == "wet" and through and "disinfection" in v.flat.model.serves:
                again = True
        if last and not again:
            yield (
                last.flat.model, "", "Waste leaves by the airlock, which isn't disinfected after it.",
                "Wipe it through the outer door before that is closed, and wait for it.",
            )
            return


@rule(
    "room-reached",
    "After the chamber was open to the room, all that the room reached is disinfected before the run is complete.",
)
def room_reached(c: Context) -> Iterable[Hit]:
    chamber = {o.id for o in c.enclosure.openings if o.opens_chamber}
    for walk in c.walks().values():
        reached: dict[str, FlatStep] = {}  # surface -> the step that opened the chamber
        inside = {v.step.surface for v in walk if v.step.kind == "wet" and v.step.reach == "gauntlets"}
        for v in walk:
            if v.step.kind == "open" and v.step.opening in chamber:
                reached |= {s: v.flat for s in inside if not c.surface(s).under}
            elif v.step.kind == "wet" and "disinfection" in v.flat.model.serves:
                if not any(v.openings.get(o) == "open" for o in chamber):
                    reached.pop(v.step.surface, None)
        for surface, flat in sorted(reached.items()):
            yield (
                flat.model, "", f"{surface} was open to the room at {flat.id} and isn't disinfected after it.",
                "Disinfect it once the window is closed.",
            )
            return


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

"""Rules about openings, interlocks, cycles and the fan."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from assistant.procedure.compiling.expand import FlatStep
from assistant.procedure.model.enclosure import Named
from assistant.procedure.model.kinds import Open, StartCycle, Wait
from assistant.procedure.model.plan import Cond
from assistant.procedure.rules.base import WARNING, Hit, rule
from assistant.procedure.rules.walk import Context, Visit


def _holds(v: Visit, cond: Cond) -> bool:
    if cond.kind == "opening":
        return v.openings.get(cond.subject) == cond.value
    if cond.kind == "cycle":
        return v.cycles.get(cond.subject) == "complete"
    if cond.kind == "machine":
        return v.machines.get(cond.subject) == cond.value
    if cond.kind == "hands":
        return v.hands == cond.value
    if cond.kind == "contact":
        return cond.subject in v.wetted and cond.subject not in v.running
    return any(d == cond.subject for d in v.done)


def _say(cond: Cond) -> str:
    if cond.kind == "hands":
        return f"hands in the {cond.value}"
    return f"{cond.kind} {cond.subject} {cond.value}"


def _unmet(v: Visit, conditions: Iterable[Cond], field: str, under: str = "") -> Iterable[Hit]:
    for cond in conditions:
        if not _holds(v, cond):
            said = f"{v.step.id} comes while this isn't so: {_say(cond)}."
            yield v.flat.model, field, said, f"Put the missing step before it{under}."


@rule("opening-conditions", "An opening is opened only when its conditions hold.")
def opening_conditions(c: Context) -> Iterable[Hit]:
    for v in c.visits():
        if v.step.kind in ("open", "close"):
            opening = c.plan.openings[v.step.opening]
            yield from _unmet(v, opening.opens_when if v.step.kind == "open" else opening.closes_when, "opening")


@rule("requirement-unmet", "What a step requires has happened by then.")
def requirement_unmet(c: Context) -> Iterable[Hit]:
    for v in c.visits():
        yield from _unmet(v, v.step.requires, "requires", ", under the same answers")


@rule("two-doors", "Two interlocked openings are never open together.")
def two_doors(c: Context) -> Iterable[Hit]:
    seen = set()
    for v in c.visits():
        if v.step.kind != "open" or v.step.id in seen:
            continue
        for group in c.plan.interlocks:
            others = [o for o in group if o != v.step.opening and v.openings.get(o) == "open"]
            if v.step.opening in group and others:
                seen.add(v.step.id)
                yield (
                    v.flat.model,
                    "opening",
                    f"{v.step.id} opens {v.step.opening} while {others[0]} is open.",
                    f"Close {others[0]} before.",
                )


@rule("interlock-missing", "Openings that must be closed for each other, or both for a purge, are interlocked.")
def interlock_missing(c: Context) -> Iterable[Hit]:
    groups = [set(g) for g in c.enclosure.interlocks]
    needed: list[tuple[Named, str, str, str]] = [
        (o, "opens_when", o.id, x.opening) for o in c.enclosure.openings for x in _closed(o.opens_when)
    ]
    for cycle in c.enclosure.cycles:
        if cycle.kind == "purge":  # what it clears lies between what breaks it and what else must be shut for it
            doors = {*cycle.broken_by_openings, *(x.opening for x in _closed(cycle.starts_when))}
            outer = cycle.broken_by_openings
            needed += [(cycle, "starts_when", one, other) for one in outer for other in sorted(doors - {*outer})]
    for node, field, one, other in needed:
        if not any({one, other} <= g for g in groups):
            yield (
                node,
                field,
                f"{node.id} needs {other} closed, but no interlock holds {one} and {other} apart.",
                f"Add [{one}, {other}] to interlocks.",
            )


def _closed(conditions: Iterable[Any]) -> list[Any]:
    return [x for x in conditions if x.opening and x.is_ == "closed"]


@rule("purge-before-inner-door", "An inner door needs a completed purge and the outer door closed.")
def purge_before_inner_door(c: Context) -> Iterable[Hit]:
    purges = {x.id for x in c.enclosure.cycles if x.kind == "purge"}
    outer = {n for x in c.enclosure.cycles if x.kind == "purge" for n in x.broken_by_openings}
    for group in c.enclosure.interlocks:
        for name in group:
            if name in outer or not outer & set(group) or c.opening(name).opens_chamber:
                continue
            conditions = c.opening(name).opens_when
            if not any(x.cycle in purges for x in conditions):
                yield (
                    c.opening(name),
                    "opens_when",
                    f"{name} opens without a purge.",
                    "Add {cycle: purge, is: complete}.",
                )
            if not any(x.opening in outer and x.is_ == "closed" for x in conditions):
                yield (
                    c.opening(name),
                    "opens_when",
                    f"{name} opens without the outer door being closed.",
                    "Add the outer door, closed.",
                )


@rule("purge-not-broken", "Opening the outer door makes a purge count for nothing.")
def purge_not_broken(c: Context) -> Iterable[Hit]:
    for cycle in c.enclosure.cycles:
        if cycle.kind == "purge" and not cycle.broken_by_openings:
            yield cycle, "", f"No opening breaks {cycle.id}.", "Add broken_by_openings with the outer door."


@rule("left-open", "Every opening is left as the enclosure's file says.")
def left_open(c: Context) -> Iterable[Hit]:
    seen = set()
    for walk in c.walks().values():
        state: dict[str, tuple[str, FlatStep | None]] = {o.id: (o.at_start, None) for o in c.plan.openings.values()}
        for v in walk:
            if v.step.kind in ("open", "close"):
                state[v.step.opening] = ("open" if v.step.kind == "open" else "closed", v.flat)
        for name, (is_now, flat) in state.items():
            if is_now != c.plan.openings[name].at_end and name not in seen:
                seen.add(name)
                yield (
                    flat.model if flat else c.procedure,
                    "",
                    f"{name} is left {is_now}.",
                    f"It must be {c.plan.openings[name].at_end} at the end.",
                )


@rule("moved-twice", "An opening is opened only when closed, and closed only when open.", WARNING)
def moved_twice(c: Context) -> Iterable[Hit]:
    for v in c.visits():
        wanted = {"open": "open", "close": "closed"}.get(v.step.kind)
        if wanted and v.openings.get(v.step.opening) == wanted:
            yield v.flat.model, "opening", f"{v.step.opening} is {wanted} already.", "Take the step out."


@rule(
    "window-too-early",
    "The window is opened only after decontamination, or a clean where nothing is hazardous, "
    "and in full protective equipment.",
)
def window_too_early(c: Context) -> Iterable[Hit]:
    seen = set()
    for walk in c.walks().values():
        dressed = treated = False
        for v in walk:
            if getattr(v.flat.model, "role", None) == "protective_equipment":
                dressed = True
            wanted = "decontamination" if c.enclosure.hazardous else "cleaning"
            if v.step.kind == "wet" and wanted in v.flat.model.serves and v.step.reach == "gauntlets":
                treated = True
            if v.step.kind == "move" and v.hands == "window":
                dressed = False
            if v.step.kind == "open" and c.opening(v.step.opening).opens_chamber and v.step.id not in seen:
                if not treated:
                    seen.add(v.step.id)
                    yield (
                        v.flat.model,
                        "",
                        f"{v.step.opening} opens before the chamber is treated.",
                        "Decontaminate first.",
                    )
                elif not dressed or not _recently_dressed(walk, v):
                    seen.add(v.step.id)
                    yield (
                        v.flat.model,
                        "",
                        f"{v.step.opening} opens without asking for protective equipment.",
                        "Ask for it directly before, with role protective_equipment.",
                    )


def _recently_dressed(walk: list[Visit], at: Visit) -> bool:
    """Whether protective equipment was asked for since the hands last came out."""
    for v in reversed(walk[: walk.index(at)]):
        if getattr(v.flat.model, "role", None) == "protective_equipment":
            return True
        if v.step.kind == "move":
            return False
    return True


@rule("fan-off-open", "The fan is never off with the chamber open, unless the maker's procedure asks for it.")
def fan_off_open(c: Context) -> Iterable[Hit]:
    fans = {m.id for m in c.enclosure.machines if m.role == "fan"}
    chamber = {o.id for o in c.enclosure.openings if o.opens_chamber} or {
        o.id for o in c.enclosure.openings if o.reach == "gauntlets" and not o.lifts
    }
    seen = set()
    for v in c.visits():
        off = [f for f in fans if v.machines.get(f) == "off"]
        if v.step.kind == "machine" and v.step.machine in fans and v.step.machine_value == "off":
            is_open = [o for o in chamber if v.openings.get(o) == "open"]
            if is_open and not getattr(v.flat.model, "maker_asks", None) and v.step.id not in seen:
                seen.add(v.step.id)
                yield (
                    v.flat.model,
                    "value",
                    f"The fan goes off while {is_open[0]} is open.",
                    "Close it first, or cite the maker's procedure in maker_asks.",
                )
        if v.step.kind == "open" and v.step.opening in chamber and off and v.step.id not in seen:
            seen.add(v.step.id)
            yield (
                v.flat.model,
                "opening",
                f"{v.step.opening} opens while the fan is off.",
                "Switch the fan on first.",
            )


@rule("fan-in-conditions", "What opens the chamber needs the fan running.")
def fan_in_conditions(c: Context) -> Iterable[Hit]:
    fans = {m.id for m in c.enclosure.machines if m.role == "fan"}
    for o in c.enclosure.openings:
        if (
            (o.opens_chamber or (o.reach == "gauntlets" and not o.lifts))
            and fans
            and not any(x.machine in fans and x.is_ == "on" for x in o.opens_when)
        ):
            yield o, "opens_when", f"{o.id} opens whether the fan runs or not.", "Add {machine: fan, is: on}."


@rule("opens-unconfirmed", "Opening an inner door, a port or the window from inside is read back.", WARNING)
def opens_unconfirmed(c: Context) -> Iterable[Hit]:
    for flat, m in c.everywhere(Open):
        opening = c.opening(m.opening)
        danger = opening.opens_chamber or (opening.reach == "gauntlets" and not opening.lifts)
        if danger and m.policy == "single":
            yield m, "policy", f"{flat.id} opens {opening.id} on a single word.", "policy: read_back"


@rule("cycle-start", "A cycle is started only when its conditions hold.")
def cycle_start(c: Context) -> Iterable[Hit]:
    for v in c.visits():
        if v.step.kind == "cycle":
            yield from _unmet(v, c.plan.cycles[v.step.cycle].starts_when, "cycle")


@rule("cycle-not-awaited", "A cycle that is started is waited for.")
def cycle_not_awaited(c: Context) -> Iterable[Hit]:
    awaited = {n for _, wait in c.main(Wait) for n in wait.for_}
    for _, m in c.main(StartCycle):
        if m.cycle not in awaited:
            yield m, "cycle", f"Nothing waits for {m.cycle}.", "Add a wait step."


@rule("contact-not-awaited", "Every contact is waited for before the surface is wiped again or the run ends.")
def contact_not_awaited(c: Context) -> Iterable[Hit]:
    seen = set()
    for walk in c.walks().values():
        for v in walk:
            if v.step.kind == "wet" and v.step.surface in v.running and v.step.id not in seen:
                seen.add(v.step.id)
                yield (
                    v.flat.model,
                    "",
                    f"{v.step.surface} is wiped again while its contact still runs.",
                    f"Wait for {v.step.surface} before.",
                )
        if walk:
            last = walk[-1]
            for surface in sorted(last.running):
                flat = last.wetted[surface][-1]
                if flat.id not in seen and last.step.kind != "wait":
                    seen.add(flat.id)
                    yield flat.model, "", f"Nothing waits for {surface}.", "Add a wait step."


@rule("wait-for-nothing", "A wait names only what was started before.", WARNING)
def wait_for_nothing(c: Context) -> Iterable[Hit]:
    started: dict[str, set[str]] = {}
    nodes = {}
    for v in c.visits():
        if v.step.kind != "wait":
            continue
        known = set(v.cycles) | set(v.wetted) | ({"*"} if v.wetted else set())
        for name in v.step.wait_for:
            started.setdefault(v.step.id, set())
            nodes[v.step.id] = v.flat.model
            if name not in known:
                started[v.step.id].add(name)
    for step_id, missing in started.items():
        for name in sorted(missing):
            shown = "any contact" if name == "*" else name
            yield (
                nodes[step_id],
                "for",
                f"{step_id} waits for {shown}, which isn't started before.",
                "Start it, or take it out.",
            )

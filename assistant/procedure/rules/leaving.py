"""Rules about leaving something wet behind: what is moved, bagged, opened or begun while a contact still runs.

A wait that is forgotten shows here even where a later wait would take its contacts in as well.
"""

from __future__ import annotations

from collections.abc import Iterable

from assistant.procedure.compiling.estimate import LISTENING_MS
from assistant.procedure.model.plan import Step
from assistant.procedure.rules.base import Hit, rule
from assistant.procedure.rules.trays import tray_moved
from assistant.procedure.rules.walk import Context, Visit


def _may_dry(step: Step) -> bool:
    """Whether what this step wets may dry before its contact is over, so that it has to be wetted again."""
    return bool(step.wet_ms) and step.wet_ms <= step.contact_ms + LISTENING_MS


def _running(c: Context, v: Visit) -> dict[str, Step]:
    """Surfaces whose contact runs when the step begins -> the step that wetted them."""
    return {s: c.step(v.wetted[s][-1]) for s in sorted(v.running)}


def _role(v: Visit) -> str:
    return getattr(v.flat.model, "role", None) or ""


@rule(
    "moved-on-wet",
    "A tray isn't lifted while it acts, nor put back, nor a stand lowered, while what was wetted meanwhile still acts.",
)
def moved_on_wet(c: Context) -> Iterable[Hit]:
    seen = set()
    for walk in c.walks().values():
        before_raising: set[str] = set()  # wet steps that the raised stand wasn't needed for
        for v in walk:
            role, running = _role(v), _running(c, v)
            if role == "raise_stand":
                before_raising = {s.id for s in running.values()}
            moved = tray_moved(c, v)
            if moved:
                tray, lifted = moved
                concerned = [s for s in running if (s if lifted else c.surface(s).under) == tray]
            elif role == "lower_stand":
                outside = {s: step for s, step in running.items() if c.zone(c.surface(s).zone).outside}
                concerned = [s for s, step in outside.items() if step.id not in before_raising]
            else:
                continue
            if concerned and v.flat.id not in seen:
                seen.add(v.flat.id)
                yield (
                    v.flat.model,
                    "",
                    f"{v.flat.id} comes while {concerned[0]} still acts: wiped again there, it can't be reached or is touched.",
                    f"Wait for {', '.join(concerned)} before.",
                )


@rule(
    "door-on-wet",
    "A door through which a surface was wetted, and one interlocked with it, opens only when that surface's contact is over.",
)
def door_on_wet(c: Context) -> Iterable[Hit]:
    seen = set()
    groups = [frozenset(g) for g in c.enclosure.interlocks]
    for v in c.visits():
        if v.step.kind != "open" or v.step.id in seen:
            continue
        near = {v.step.opening}.union(*(g for g in groups if v.step.opening in g))
        for surface, step in _running(c, v).items():
            through = {x.subject for x in step.requires if x.kind == "opening" and x.value == "open"}
            if through & near:
                seen.add(v.step.id)
                yield (
                    v.flat.model,
                    "opening",
                    f"{v.step.id} opens the way to {surface} while its contact still runs.",
                    f"Wait for {surface} before.",
                )
                break


@rule(
    "waste-before-contact",
    "The waste bag is closed only when nothing is left that may need wetting again: its wipe would have no way out.",
)
def waste_before_contact(c: Context) -> Iterable[Hit]:
    seen = set()
    for v in c.visits():
        if _role(v) != "waste_closed":
            continue
        for surface, step in _running(c, v).items():
            if _may_dry(step) and (v.flat.id, surface) not in seen:
                seen.add((v.flat.id, surface))
                yield (
                    v.flat.model,
                    "",
                    f"{v.flat.id} comes while {surface} may need wetting again.",
                    f"Wait for {surface} before the bag is filled.",
                )


@rule(
    "rewet-after-dirtier",
    "What may need wetting again is over before a dirtier zone is begun: the gauntlets would carry dirt back.",
)
def rewet_after_dirtier(c: Context) -> Iterable[Hit]:
    seen = set()
    for v in c.visits():
        if v.step.kind != "wet":
            continue
        dirt = c.zone(c.surface(v.step.surface).zone).dirt
        for surface, step in _running(c, v).items():
            if _may_dry(step) and c.zone(c.surface(surface).zone).dirt < dirt and surface not in seen:
                seen.add(surface)
                yield (
                    v.flat.model,
                    "",
                    f"{v.step.surface} is dirtier than {surface}, which may need wetting again.",
                    f"Wait for {surface} before.",
                )


@rule(
    "flammable-awaited",
    "While a flammable agent acts, nothing else is begun: no bag, tray, door, machine or other agent.",
)
def flammable_awaited(c: Context) -> Iterable[Hit]:
    seen = set()
    for v in c.visits():
        if v.step.kind == "wait":
            continue
        for surface, step in _running(c, v).items():
            same = v.step.kind == "wet" and v.step.agent == step.agent
            if c.agent(step.agent).flammable and not same and step.id not in seen:
                seen.add(step.id)
                yield (
                    v.flat.model,
                    "",
                    f"{v.flat.id} is begun while {step.agent} on {surface} still acts.",
                    f"Wait for {surface} before.",
                )

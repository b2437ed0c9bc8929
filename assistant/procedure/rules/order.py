"""Rules about the order of work: cleanest first, nothing left out, residue off before disinfection."""

from __future__ import annotations

from collections.abc import Iterable

from assistant.procedure.compiling.expand import wiping_order as order_of
from assistant.procedure.model.kinds import Node, Wet
from assistant.procedure.rules.base import WARNING, Hit, rule
from assistant.procedure.rules.walk import Context

_FOUR = "USP <800>: deactivation, decontamination, cleaning, disinfection, in this order"


@rule(
    "wiping-order",
    "Within a zone and an agent, surfaces are wiped cleanest first, then top to bottom, left to right, back to front.",
)
def wiping_order(c: Context) -> Iterable[Hit]:
    seen = set()
    for walk in c.walks().values():
        last = None
        for v in walk:
            if v.step.kind != "wet":
                if v.step.kind in ("open", "move", "cycle") or getattr(v.flat.model, "role", None) in (
                    "lift_tray",
                    "new_wipe",
                ):
                    last = None
                continue
            s = c.surface(v.step.surface)
            if last is not None and last[0] == (s.zone, v.step.agent) and v.step.surface != last[2]:
                before = c.surface(last[2])
                now, then = order_of(s), order_of(before)
                again = v.step.surface in last[3]
                if now < then and not again and v.step.id not in seen:
                    seen.add(v.step.id)
                    first = next(i for i, (a, b) in enumerate(zip(now, then, strict=True)) if a != b)
                    why = ("cleaner", "higher", "further left", "further back")[first]
                    yield (
                        v.flat.model,
                        "surface",
                        f"{s.id} is {why} than {before.id}, which is wiped before it.",
                        f"Wipe {s.id} before {before.id}.",
                    )
            done: frozenset[str] = last[3] if last is not None and last[0] == (s.zone, v.step.agent) else frozenset()
            if v.step.surface in done:
                done = frozenset()  # a second round with the same agent begins
            last = ((s.zone, v.step.agent), v.step.id, v.step.surface, done | {v.step.surface})


@rule(
    "surface-left-out", "Every surface of the zones a procedure cleans is wetted, or left out with a reason."
)
def surface_left_out(c: Context) -> Iterable[Hit]:
    left = {x.surface for x in c.procedure.leaves_out}
    wetted = {s.surface for s, _ in c.main(Wet)}
    for i, zone in enumerate(c.procedure.cleans_zones):
        for s in c.enclosure.surfaces:
            if s.zone == zone and s.id not in wetted and s.id not in left:
                yield (
                    c.procedure,
                    f"cleans_zones.{i}",
                    f"{s.id} in {zone} is never wetted.",
                    "Wet it, or name it in leaves_out with the reason.",
                )


@rule("zone-unclaimed", "A clean says which zones it cleans.", WARNING)
def zone_unclaimed(c: Context) -> Iterable[Hit]:
    if (
        c.procedure.purpose in ("light", "rigorous", "sporicidal", "under_tray")
        and not c.procedure.cleans_zones
    ):
        yield (
            c.procedure,
            "purpose",
            "The clean names no zone, so nothing can be missed.",
            "Add cleans_zones.",
        )


@rule(
    "residue-first",
    "In a hazardous enclosure every surface inside, the airlock's too, is decontaminated before it is disinfected.",
    source=_FOUR,
)
def residue_first(c: Context) -> Iterable[Hit]:
    if not c.enclosure.hazardous:
        return
    always = c.procedure.purpose in ("rigorous", "sporicidal", "spill", "end_of_day")
    clean_first: dict[str, list[bool]] = {}
    passed = {f.id for f in c.with_role("waste_passed_out")}
    nodes: dict[str, Node] = {}
    for v in c.visits():
        if passed & set(v.done):
            continue  # a closed and wiped bag has gone by: nothing was opened there
        inside = v.step.kind == "wet" and not c.zone(c.surface(v.step.surface).zone).outside
        if inside and "disinfection" in v.flat.model.serves:
            earlier = v.wetted.get(v.step.surface, ())
            clean_first.setdefault(v.step.surface, []).append(
                any("decontamination" in f.model.serves for f in earlier)
            )
            nodes.setdefault(v.step.surface, v.flat.model)
    for surface, found in clean_first.items():
        if not any(found) or (always and not all(found)):
            yield (
                nodes[surface],
                "agent",
                f"{surface} is disinfected without being decontaminated first.",
                "Wet it with an agent that serves decontamination before.",
            )


@rule("alcohol-last", "Alcohol comes after the disinfectant and the rinse, never before them.")
def alcohol_last(c: Context) -> Iterable[Hit]:
    seen = set()
    for v in c.visits():
        if v.step.kind != "wet" or v.step.id in seen:
            continue
        agent = c.agent(v.step.agent)
        earlier = [c.agent(c.step(f).agent) for f in v.wetted.get(v.step.surface, ())]
        if earlier and earlier[-1].flammable and not agent.flammable:
            seen.add(v.step.id)
            yield (
                v.flat.model,
                "agent",
                f"{agent.id} comes after {earlier[-1].id} on {v.step.surface}.",
                "Put the final alcohol last.",
            )


@rule(
    "gauntlets-after-dirt", "Gauntlets that wiped something dirty are wiped before a cleaner zone is begun."
)
def gauntlets_after_dirt(c: Context) -> Iterable[Hit]:
    seen = set()
    for walk in c.walks().values():
        dirtiest, last_wet = 0, None
        for v in walk:
            role = getattr(v.flat.model, "role", None)
            if role in ("wipe_gauntlets", "outer_glove_change", "new_wipe") or v.step.kind == "move":
                dirtiest = 0
            if v.step.kind != "wet":
                continue
            dirt = c.zone(c.surface(v.step.surface).zone).dirt
            if c.surface(v.step.surface).zone == "sleeves":
                dirtiest = 0  # the gauntlets themselves are being wiped
            if dirt < dirtiest and v.step.id not in seen:
                seen.add(v.step.id)
                yield (
                    v.flat.model,
                    "",
                    f"{v.step.surface} is in a cleaner zone than {last_wet}, wiped before it.",
                    "Wipe the gauntlets or change the outer gloves before.",
                )
                dirtiest = dirt  # said once; what follows isn't to blame
            dirtiest = max(dirtiest, dirt)
            last_wet = v.step.surface

"""Rules about agents: where they may go, how strong, what they are credited with, what they must not meet."""

from __future__ import annotations

from collections.abc import Iterable

from assistant.procedure.model.kinds import Agent, Node, Wet
from assistant.procedure.rules.base import WARNING, Hit, rule
from assistant.procedure.rules.walk import Context

_DELICATE = ("acrylic", "polycarbonate", "control_panel")
_ALCOHOLS = ("isopropyl_alcohol", "ethanol")
_KILLING = ("disinfection", "sporicidal")


@rule("agent-on-material", "An agent goes only onto materials its file allows.")
def agent_on_material(c: Context) -> Iterable[Hit]:
    for flat, m in c.everywhere(Wet):
        agent, surface = c.agent(m.agent), c.surface(flat.surface)
        excepted = {e.material for e in agent.exceptions}
        if surface.material in agent.forbidden and surface.material not in excepted:
            yield (
                m,
                "agent",
                f"{agent.id} is forbidden on {surface.material} ({surface.id}).",
                "Use an agent allowed there, or record the maker's document as an exception.",
            )
        elif surface.material not in agent.materials and surface.material not in excepted:
            yield (
                m,
                "agent",
                f"{agent.id} isn't released for {surface.material} ({surface.id}).",
                "Use an agent allowed there, or add the material after checking the label.",
            )


@rule(
    "alcohol-on-plastic",
    "Alcohol goes onto acrylic, polycarbonate or a control panel only on the maker's word.",
)
def alcohol_on_plastic(c: Context) -> Iterable[Hit]:
    for agent in c.loaded.agents.agents:
        if agent.active not in _ALCOHOLS:
            continue
        excepted = {e.material for e in agent.exceptions}
        for material in _DELICATE:
            if material in agent.materials and material not in excepted:
                yield (
                    agent,
                    "materials",
                    f"{agent.id} is released for {material} without the maker's document.",
                    "Take the material out, or add an exception with the maker's document.",
                )


@rule(
    "harsh-on-plastic",
    "No abrasive, organic solvent or ammonia goes onto acrylic, polycarbonate or a control panel.",
)
def harsh_on_plastic(c: Context) -> Iterable[Hit]:
    for agent in c.loaded.agents.agents:
        harsh = agent.abrasive or agent.active in ("ammonia", "organic_solvent")
        for material in _DELICATE:
            if harsh and material in (*agent.materials, *(e.material for e in agent.exceptions)):
                yield (
                    agent,
                    "abrasive" if agent.abrasive else "active",
                    f"{agent.id} is harsh and is released for {material}.",
                    "Take the material out; use a mild detergent there.",
                )


@rule("unsterile-inside", "Inside a sterile chamber (one with a category) every agent is sterile.")
def unsterile_inside(c: Context) -> Iterable[Hit]:
    if c.enclosure.category is None:
        return
    for flat, m in c.everywhere(Wet):
        inside = not c.zone(c.surface(flat.surface).zone).outside
        if inside and not c.agent(m.agent).sterile:
            yield (
                m,
                "agent",
                f"{m.agent} isn't sterile and is used inside ({flat.surface}).",
                "Use a sterile agent, or correct `sterile` in the agents' file.",
            )


@rule("agent-too-strong", "Isopropyl alcohol is not above 70 %, ethanol on such a unit not above 50 %.")
def agent_too_strong(c: Context) -> Iterable[Hit]:
    limits = {"isopropyl_alcohol": 70, "ethanol": 50}
    for agent in c.loaded.agents.agents:
        limit = limits.get(agent.active)
        if limit is not None and agent.strength is not None and agent.strength > limit:
            yield (
                agent,
                "strength",
                f"{agent.id} has {agent.strength} %; at most {limit} %.",
                f"Use {limit} % or weaker.",
            )


@rule("alcohol-without-strength", "An alcohol's strength is stated.")
def alcohol_without_strength(c: Context) -> Iterable[Hit]:
    for agent in c.loaded.agents.agents:
        if agent.active in _ALCOHOLS and agent.strength is None:
            yield agent, "", f"{agent.id} doesn't say how strong it is.", "Add strength, such as 70 %."


@rule(
    "ethanol-no-disinfection",
    "No disinfection is credited to ethanol on this kind of unit without evidence at its strength and contact time.",
)
def ethanol_no_disinfection(c: Context) -> Iterable[Hit]:
    for agent in c.loaded.agents.agents:
        for service in agent.serves if agent.active == "ethanol" else ():
            if service in _KILLING and (short := _evidence_falls_short(agent, service)):
                yield (
                    agent,
                    "serves",
                    f"{agent.id} is credited with {service}; {short}.",
                    "Credit it with cleaning only, or add evidence: serves, document, revision, shows, strength, contact.",
                )


def _evidence_falls_short(agent: Agent, service: str) -> str:
    """Why no evidence of the agent's file carries a service; "" where one does."""
    found = [e for e in agent.evidence if e.serves == service]
    if not found:
        return "its file cites no evidence for it"
    same = [e for e in found if e.strength == agent.strength]
    if not same:
        shown = " or ".join(f"{float(e.strength):g} %" for e in found)
        has = "no stated strength" if agent.strength is None else f"{float(agent.strength):g} %"
        return f"the evidence is for {shown}, and it has {has}"
    if all(e.contact > agent.contact for e in same):
        needed = min(e.contact for e in same)
        return f"the evidence is for {needed // 1000} s, and its contact time is {agent.contact // 1000} s"
    return ""


@rule("agents-meet", "Two agents that must not meet have a rinse or a cleaner between them on a surface.")
def agents_meet(c: Context) -> Iterable[Hit]:
    seen = set()
    for v in c.visits():
        if v.step.kind != "wet" or not v.wetted.get(v.step.surface):
            continue
        before = v.wetted[v.step.surface][-1]
        one, two = c.agent(c.step(before).agent), c.agent(v.step.agent)
        clash = any(x.agent == two.id for x in one.clashes) or any(x.agent == one.id for x in two.clashes)
        if clash and (before.id, v.step.id) not in seen:
            seen.add((before.id, v.step.id))
            yield (
                v.flat.model,
                "agent",
                f"{two.id} follows {one.id} on {v.step.surface} without a rinse.",
                "Wipe it with water or a cleaner in between.",
            )


@rule("oxidiser-and-alcohol", "An oxidiser's file says that it must not meet alcohol.")
def oxidiser_and_alcohol(c: Context) -> Iterable[Hit]:
    agents = c.loaded.agents.agents
    for one in agents:
        for two in agents:
            if not (one.oxidiser and two.flammable):
                continue
            if two.id not in {x.agent for x in one.clashes} and one.id not in {x.agent for x in two.clashes}:
                yield (
                    one,
                    "",
                    f"{one.id} is an oxidiser and nothing keeps it from {two.id}.",
                    f"Add {two.id} to its clashes.",
                )


@rule("oxidiser-and-acid", "An oxidiser's file says that it must not meet acid residue.")
def oxidiser_and_acid(c: Context) -> Iterable[Hit]:
    for one in c.loaded.agents.agents:
        for two in c.loaded.agents.agents:
            if not (one.oxidiser and two.acid) or one.id == two.id:
                continue
            if two.id not in {x.agent for x in one.clashes} and one.id not in {x.agent for x in two.clashes}:
                yield (
                    one,
                    "",
                    f"{one.id} is an oxidiser and nothing keeps it from {two.id}, which leaves acid.",
                    f"Add {two.id} to its clashes.",
                )


@rule("alcohol-volume", "The alcohol of one run stays within the limit its file states.")
def alcohol_volume(c: Context) -> Iterable[Hit]:
    from assistant.calc.wetting import agent_ml

    worst: dict[str, tuple[float, Node]] = {}
    for walk in c.walks().values():
        total: dict[str, float] = {}
        last = {}
        for v in walk:
            if v.step.kind == "wet" and c.agent(v.step.agent).flammable:
                agent = c.agent(v.step.agent)
                ml = agent_ml(
                    area_cm2=c.surface(v.step.surface).area, coverage_ml_m2=float(agent.coverage or 0)
                )
                total[agent.id] = total.get(agent.id, 0) + ml
                last[agent.id] = v.flat.model
        for name, ml in total.items():
            if name not in worst or ml > worst[name][0]:
                worst[name] = (ml, last[name])
    for name, (ml, node) in worst.items():
        limit = c.agent(name).max_volume_per_run_ml
        if limit is None:
            yield (
                c.agent(name),
                "",
                f"{name} burns and has no volume limit for a run.",
                "Add max_volume_per_run_ml.",
            )
        elif ml > limit:
            yield (
                node,
                "agent",
                f"The run uses {ml:.0f} mL of {name}; at most {limit} mL.",
                "Wipe fewer surfaces with it.",
            )


@rule("ignition-caution", "Every step that wets with something that burns carries a caution.")
def ignition_caution(c: Context) -> Iterable[Hit]:
    for flat, m in c.everywhere(Wet):
        if c.agent(m.agent).flammable and not m.caution:
            yield (
                m,
                "",
                f"{flat.id} uses {m.agent}, which burns, without a caution.",
                "Add a caution about sparks and heat.",
            )


@rule(
    "purpose-not-served",
    "A step is credited only with what its agent serves.",
    source="USP <800>, four steps",
)
def purpose_not_served(c: Context) -> Iterable[Hit]:
    for _, m in c.everywhere(Wet):
        for purpose in m.serves:
            if purpose not in c.agent(m.agent).serves:
                yield (
                    m,
                    "serves",
                    f"{m.agent} doesn't serve {purpose}.",
                    "Credit the step with what the agent's label says.",
                )


@rule(
    "wet-time-unmeasured",
    "A wet time names the site's measurement it comes from.",
    source="no published figure; REFERENCES: measured on site and entered per agent",
)
def wet_time_unmeasured(c: Context) -> Iterable[Hit]:
    for agent in c.loaded.agents.agents:
        if agent.wet_time and not agent.wet_time_source:
            yield agent, "wet_time", f"{agent.id} has wet times without their source.", "Add wet_time_source."


@rule(
    "expiry-not-checked", "The expiry of every agent used is checked against the date before its first use."
)
def expiry_not_checked(c: Context) -> Iterable[Hit]:
    yield from _noted(c, "date", "expiry date")


@rule("lot-not-noted", "The lot of every agent used is noted before its first use.", WARNING)
def lot_not_noted(c: Context) -> Iterable[Hit]:
    yield from _noted(c, "lot", "lot")


def _noted(c: Context, value: str, shown: str) -> Iterable[Hit]:
    seen = set()
    for walk in c.walks().values():
        noted = set()
        for v in walk:
            m = v.flat.model
            if m.do == "note" and m.value == value and (value != "date" or m.not_before_today):
                noted.add(m.agent)
            if (
                m.do == "wet"
                and c.agent(m.agent).in_use_life
                and m.agent not in noted
                and m.agent not in seen
                and c.plan.start_hands == "room"
            ):
                seen.add(m.agent)
                yield (
                    m,
                    "agent",
                    f"The {shown} of {m.agent} isn't noted before its first use.",
                    "Include the part pack-noted for it before the hands go in.",
                )


@rule("in-use-life-unchecked", "An opened pack's in-use life is asked about before its first use.")
def in_use_life_unchecked(c: Context) -> Iterable[Hit]:
    seen: set[str] = set()
    for walk in c.walks().values():
        asked: set[str | None] = set()
        for v in walk:
            m = v.flat.model
            if m.do == "check" and m.role == "in_use_life":
                asked.add(m.agent)
            used = m.agent if m.do == "wet" and c.plan.start_hands == "room" else None
            if used and c.agent(used).in_use_life and used not in asked | seen:
                seen.add(used)
                yield (
                    m,
                    "agent",
                    f"Nothing asks how long the pack of {used} has been open.",
                    "Include the part pack-noted for it before the hands go in.",
                )

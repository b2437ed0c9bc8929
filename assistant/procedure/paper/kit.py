"""What must be inside or within reach before gloving up, worked out from surfaces, areas, coverage and answers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from assistant.calc.dilution import NotEthanolError, dilute
from assistant.calc.wetting import agent_ml
from assistant.procedure.compiling.compile import compile_plan, wipe_cues
from assistant.procedure.compiling.expand import FlatStep
from assistant.procedure.loading.load import Loaded
from assistant.procedure.model.kinds import Agent, Instruct, in_language
from assistant.procedure.paper.forecast import default_answers, forecast, line_for, rewets_of

WIPE_MARGIN, ML_MARGIN = 1.25, 1.2  # spare wipes and liquid; common practice, no source
HEADSET_MARGIN = 1.5  # on the 90 % forecast; common practice, no source


@dataclass(frozen=True, slots=True)
class AgentNeed:
    """`ml`: what is put on surfaces, margin included. `dilution`: how it is made here, or why it can't be."""

    id: str
    name: str
    label: str
    wipes: int
    ml: int
    note_lot: bool
    note_expiry: bool
    in_use_life_h: float | None
    dilution: str = ""


@dataclass(frozen=True, slots=True)
class Kit:
    """Everything on the list. Counts include their margins."""

    procedure: str
    title: str
    revision: str
    enclosure: str
    answers: dict[str, bool]
    agents: tuple[AgentNeed, ...]
    tools: tuple[tuple[str, int], ...]
    protective: tuple[tuple[str, int], ...]
    spare_glove_pairs: int  # outer gloves, or the only pair
    spare_inner_pairs: int
    spare_packs: tuple[str, ...]  # names of the agents of which a sealed pack lies ready
    waste_bags: int
    headset_min: int
    sha256: str
    warnings: tuple[str, ...] = field(default_factory=tuple)


def kit(loaded: Loaded, answers: Mapping[str, bool] | None = None, language: str = "en") -> Kit:
    """The kit for one set of answers (defaults where none is given)."""
    plan = compile_plan(loaded, language)
    chosen = default_answers(plan, answers)
    held = {s.id for s in line_for(plan, chosen)}
    steps = [f for f in loaded.steps if f.id in held]
    cues = wipe_cues(loaded)
    surfaces = {s.id: s for s in loaded.enclosure.surfaces}
    agents = {a.id: a for a in loaded.agents.agents}
    ml: dict[str, float] = {}
    wipes: dict[str, float] = {}
    noted: dict[str, set[str]] = {}
    branches = [f for m in loaded.mishaps for f in m.steps]
    for flat in (*steps, *branches):  # a mishap's own wiping is counted once
        m = flat.model
        if m.do == "note" and m.agent:
            noted.setdefault(m.agent, set()).add(m.value)
        if m.do != "wet":
            continue
        passes = 1 + rewets_of(plan.step(flat.id)) if flat.id in held else 1
        agent = agents[m.agent]
        ml[m.agent] = ml.get(m.agent, 0.0) + agent_ml(
            area_cm2=surfaces[flat.surface].area, coverage_ml_m2=float(agent.coverage or 0), passes=passes
        )
        if flat.id not in held:
            wipes[m.agent] = wipes.get(m.agent, 0) + math.ceil(
                surfaces[flat.surface].area / loaded.enclosure.wipe.area_per_face[m.dirt] / loaded.enclosure.wipe.faces
            )
        elif flat.id in cues:
            again = math.ceil(cues[flat.id].faces / loaded.enclosure.wipe.faces) * (passes - 1)
            wipes[m.agent] = wipes.get(m.agent, 0) + cues[flat.id].wipes + again
    needs = tuple(
        AgentNeed(
            id=a,
            name=in_language(agents[a].name, language),
            label=agents[a].label,
            wipes=math.ceil(wipes.get(a, 0) * WIPE_MARGIN),
            ml=math.ceil(ml[a] * ML_MARGIN),
            note_lot="lot" in noted.get(a, ()),
            note_expiry="date" in noted.get(a, ()),
            in_use_life_h=life / 3_600_000 if (life := agents[a].in_use_life) else None,
            dilution=_dilution(agents[a], math.ceil(ml[a] * ML_MARGIN)),
        )
        for a in ml
    )
    changes = sum(getattr(f.model, "role", None) == "outer_glove_change" for f in steps)
    torn = sum(getattr(f.model, "role", None) == "outer_glove_change" for f in branches)
    inner = any(g.id == "inner_gloves" for g in loaded.enclosure.protective_equipment)
    spare = any(m.model.word == "agent_out" and m.model.then == "resume" for m in loaded.mishaps)
    bags = sum(getattr(f.model, "role", None) == "waste_closed" for f in steps)
    bags += any("waste bag" in f.model.say["en"].lower() for f in branches)
    used_tools = _tools(loaded, [*steps, *branches])
    always = {"wipe_pack", "spare_gauntlets"}
    tools = [
        (in_language(g.name, language), g.count)
        for g in (*loaded.enclosure.tools, *loaded.procedure.tools)
        if g.id in used_tools | always or g in loaded.procedure.tools
    ]
    p90 = forecast(plan, chosen).p90_ms
    return Kit(
        procedure=plan.procedure,
        title=plan.title,
        revision=plan.revision,
        enclosure=in_language(loaded.enclosure.name, language),
        answers=chosen,
        agents=needs,
        tools=tuple(tools),
        protective=tuple(
            (in_language(g.name, language), g.count) for g in loaded.enclosure.protective_equipment
        ),
        spare_glove_pairs=changes + torn,
        spare_inner_pairs=torn if inner else 0,
        spare_packs=tuple(n.name for n in needs) if spare else (),
        waste_bags=bags,
        headset_min=math.ceil(p90 * HEADSET_MARGIN / 60_000),
        sha256=plan.sha256,
        warnings=tuple(n.dilution for n in needs if n.dilution.startswith("Not worked out")),
    )


def _tools(loaded: Loaded, steps: list[FlatStep]) -> set[str]:
    """Ids of the tools that these steps use: named by `tool`, or in what is said by its name or its id's words."""
    found = {f.model.tool for f in steps if isinstance(f.model, Instruct) and f.model.tool}
    said = " ".join(in_language(f.model.say, "en").lower() for f in steps)
    return found | {
        g.id for g in (*loaded.enclosure.tools, *loaded.procedure.tools)
        if in_language(g.name, "en").lower() in said or g.id.replace("_", " ") in said
    }


def _dilution(agent: Agent, ml: int) -> str:
    """How the volume is made from stock, for an agent diluted on site; "" for one that comes ready."""
    if agent.stock_strength is None or agent.strength is None:
        return ""
    try:
        d = dilute(
            total_ml=ml,
            wanted_percent=float(agent.strength),
            stock_percent=float(agent.stock_strength),
            active=agent.active,
        )
    except NotEthanolError as error:
        return f"Not worked out: {error}"
    except ValueError as error:
        return f"Not worked out: {error}."
    return (
        f"Measure {d.stock_ml:.0f} mL of {agent.stock_strength:.0f} % stock. Make up to {ml} mL with water at "
        f"20 C (about {d.water_ml:.0f} mL). Source: OIML R 22."
    )

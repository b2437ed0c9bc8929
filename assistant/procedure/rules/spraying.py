"""Rules about what must never be sprayed, wetted or touched."""

from __future__ import annotations

from collections.abc import Iterable

from assistant.procedure.model.kinds import Wet
from assistant.procedure.rules.base import Hit, rule
from assistant.procedure.rules.walk import Context

_ELECTRIC = ("electronics", "control_panel")
_FILTER = ("filter_protector", "diffuser", "pre_filter", "filter_media")


@rule(
    "spray-hazardous",
    "Nothing at all is sprayed in a hazardous enclosure.",
    source="USP <800>: wetted wipes, not spray, where hazardous residue may be present",
)
def spray_hazardous(c: Context) -> Iterable[Hit]:
    if not c.enclosure.hazardous:
        return
    for flat in c.everything():
        m = flat.model
        if getattr(m, "method", "") == "spray" or getattr(m, "role", "") == "spray":
            yield (
                m,
                "method" if m.do == "wet" else "role",
                f"{flat.id} sprays in a hazardous enclosure.",
                "Use a wetted wipe.",
            )


@rule("spray-delicate", "Nothing is sprayed on electronics, controls, diffusers, protectors or filters.")
def spray_delicate(c: Context) -> Iterable[Hit]:
    for flat, m in c.everywhere(Wet):
        surface = c.surface(flat.surface)
        delicate = surface.never_spray or surface.material in (*_ELECTRIC, *_FILTER)
        if m.method in ("spray", "pour") and delicate:
            yield m, "method", f"{surface.id} must never be sprayed.", "Use a damp wipe."


@rule("delicate-damp", "Protectors, diffusers and pre-filters are wiped with a damp wipe, and the file says so.")
def delicate_damp(c: Context) -> Iterable[Hit]:
    for s in c.enclosure.surfaces:
        how = (s.how or {}).get("en", "").lower()
        if s.material in ("filter_protector", "diffuser", "pre_filter") and "damp" not in how:
            yield s, "how", f"Nothing says that {s.id} is wiped with a damp wipe.", "Say so in `how`, as its maker allows."


@rule("filter-media", "Filter media is never touched or wetted.")
def filter_media(c: Context) -> Iterable[Hit]:
    for flat, m in c.everywhere(Wet):
        if c.surface(flat.surface).material == "filter_media":
            yield m, "agent", f"{flat.surface} is filter media and would be wetted.", "Leave it out."
    for agent in c.used_agents():
        if "filter_media" in agent.materials or "filter_media" not in agent.forbidden:
            yield (
                agent,
                "forbidden",
                f"{agent.id} doesn't forbid filter media.",
                "Add filter_media to forbidden.",
            )


@rule(
    "agent-form-spray",
    "An agent that comes as a spray isn't used inside a hazardous enclosure.",
    source="USP <800>: wetted wipes, not spray",
)
def agent_form_spray(c: Context) -> Iterable[Hit]:
    if c.enclosure.hazardous:
        for agent in c.used_agents():
            if agent.form == "spray":
                yield (
                    agent,
                    "form",
                    f"{agent.id} comes as a spray.",
                    "Use wetted wipes or a ready-to-use liquid.",
                )

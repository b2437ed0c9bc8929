"""Rules about times: contact, drying, purge, run-up, limits, intervals, speech."""

from __future__ import annotations

from collections.abc import Iterable

from assistant.calc.due import LONGEST_DAYS, SOURCES, longest_published_days
from assistant.calc.wetting import largest_area_cm2, wetting_passes, wiping_ms
from assistant.procedure.compiling.cycles import cycle_duration_ms, worked_out_ms
from assistant.procedure.compiling.estimate import CALM_WIPING_CM2_S, LISTENING_MS, least_lead_ms
from assistant.procedure.model.kinds import Agent, Wet
from assistant.procedure.rules.base import WARNING, Hit, rule
from assistant.procedure.rules.walk import Context, Visit

_LABEL = "label; EPA List N wording: visibly wet for the whole contact time"
_CDC = "CDC/HICPAC 2003, Appendix B (assumes perfect mixing)"


def _speed(agent: Agent) -> float:
    return float(agent.wipe_speed) if agent.wipe_speed else CALM_WIPING_CM2_S


@rule("contact-too-short", "A contact time is never shorter than the agent's label says.", source=_LABEL)
def contact_too_short(c: Context) -> Iterable[Hit]:
    for flat, m in c.everywhere(Wet):
        label = c.agent(m.agent).contact
        if m.contact is not None and m.contact < label:
            yield (
                m,
                "contact",
                f"{flat.id} waits {m.contact // 1000} s; the label says {label // 1000} s.",
                "Leave contact out, or make it at least the label's.",
            )


@rule(
    "disinfectant-without-contact", "An agent credited with disinfection has a contact time.", source=_LABEL
)
def disinfectant_without_contact(c: Context) -> Iterable[Hit]:
    for agent in c.loaded.agents.agents:
        if {"disinfection", "sporicidal"} & set(agent.serves) and not agent.contact:
            yield (
                agent,
                "serves",
                f"{agent.id} is credited with disinfection and has no contact time.",
                "Add contact.",
            )


@rule(
    "area-too-large", "A surface can be wetted all over before its first stroke dries.", source="definition"
)
def area_too_large(c: Context) -> Iterable[Hit]:
    for flat, m in c.everywhere(Wet):
        step, agent = c.step(flat), c.agent(m.agent)
        area = c.surface(flat.surface).area
        if step.wet_ms and LISTENING_MS + wiping_ms(area_cm2=area, speed_cm2_s=_speed(agent)) >= step.wet_ms:
            most = largest_area_cm2(wet_ms=max(0, step.wet_ms - LISTENING_MS), speed_cm2_s=_speed(agent))
            yield (
                m,
                "",
                f"{flat.surface} has {area} cm2; {agent.id} stays wet on at most {most} cm2.",
                "Split the surface, or use an agent that stays wet longer.",
            )


@rule(
    "wet-time-missing",
    "An agent with a contact time says how long it stays wet on each orientation it is used on.",
    source="wet time is measured on site",
)
def wet_time_missing(c: Context) -> Iterable[Hit]:
    for flat, m in c.everywhere(Wet):
        if c.step(flat).contact_ms and not c.step(flat).wet_ms:
            yield (
                c.agent(m.agent),
                "wet_time",
                f"{m.agent} has no wet time for "
                f"{c.surface(flat.surface).orientation} surfaces ({flat.surface}).",
                "Measure and add it.",
            )


@rule(
    "no-rewetting",
    "Where the wet time is shorter than the contact time, re-wetting is asked for in time.",
    source=_LABEL,
)
def no_rewetting(c: Context) -> Iterable[Hit]:
    for flat, m in c.everywhere(Wet):
        step, agent = c.step(flat), c.agent(m.agent)
        if not step.contact_ms or not step.wet_ms:
            continue
        wiping = wiping_ms(area_cm2=c.surface(flat.surface).area, speed_cm2_s=_speed(agent))
        if LISTENING_MS + wiping >= step.wet_ms:
            continue  # area-too-large says so
        try:
            wetting_passes(
                contact_ms=step.contact_ms,
                wet_ms=step.wet_ms,
                lead_ms=step.lead_ms,
                wiping_ms=LISTENING_MS + wiping,
            )
        except ValueError as error:
            yield m, "lead", f"{flat.surface} can't be kept wet: {error}.", "Shorten the lead."


@rule(
    "rewet-too-late",
    "A re-wet is asked for early enough to say the request, put down what is in hand (8 s) and wipe the whole "
    "surface at 1.3 times the site's time.",
)
def rewet_too_late(c: Context) -> Iterable[Hit]:
    for flat, m in c.everywhere(Wet):
        step, agent = c.step(flat), c.agent(m.agent)
        if not step.contact_ms or not step.wet_ms:
            continue
        name, area = c.plan.surfaces[flat.surface].name, c.surface(flat.surface).area
        least = least_lead_ms(name, area, float(agent.wipe_speed) if agent.wipe_speed else None)
        if step.lead_ms < least:
            yield (
                m,
                "lead",
                f"{flat.surface} dries {step.lead_ms / 1000:.0f} s after the request to wet it again; a slow person "
                f"needs {least / 1000:.0f} s.",
                "Leave lead out, or make it longer.",
            )


@rule(
    "rewet-out-of-reach", "A contact that needs re-wetting ends before the hands leave or its door is shut.", source=_LABEL
)
def rewet_out_of_reach(c: Context) -> Iterable[Hit]:
    for v in c.visits():
        if v.step.kind not in ("move", "close") or not v.running:
            continue
        for surface in sorted(v.running):
            flat = v.wetted[surface][-1]
            step = c.step(flat)
            ways = {x.subject for x in step.requires if x.kind == "opening"}
            if (
                step.wet_ms
                and (v.step.kind == "move" or v.step.opening in ways)
                and step.wet_ms <= step.contact_ms + LISTENING_MS
            ):
                yield (
                    v.flat.model,
                    "",
                    f"{'The hands leave' if v.step.kind == 'move' else f'{v.step.opening} closes'} while {surface} may need "
                    "wetting again.",
                    f"Wait for {surface} before.",
                )


@rule(
    "purge-too-short",
    "A purge is at least as long as the published formula gives, or cites its validation.",
    WARNING,
    _CDC,
)
def purge_too_short(c: Context) -> Iterable[Hit]:
    for cycle in c.enclosure.cycles:
        formula = worked_out_ms(cycle)
        if formula and cycle_duration_ms(cycle) < formula and not cycle.validated_by:
            yield (
                cycle,
                "duration",
                f"{cycle.id} takes {cycle_duration_ms(cycle) // 1000} s; the formula gives "
                f"{formula // 1000} s, and it assumes perfect mixing.",
                "Make it longer, or cite the validated purge in validated_by.",
            )


@rule(
    "purge-unfounded",
    "A purge says what its time rests on: volume and airflow, or a validation.",
    WARNING,
    _CDC,
)
def purge_unfounded(c: Context) -> Iterable[Hit]:
    for cycle in c.enclosure.cycles:
        if cycle.kind == "purge" and cycle.work_out is None and not cycle.validated_by:
            yield cycle, "", f"Nothing says why {cycle.id} is long enough.", "Add work_out or validated_by."


@rule("run-up-after-clean", "A rigorous or sporicidal clean ends with at least 10 minutes of running.")
def run_up_after_clean(c: Context) -> Iterable[Hit]:
    if c.procedure.purpose not in ("rigorous", "sporicidal"):
        return
    run_ups = {x.id: x for x in c.enclosure.cycles if x.kind == "run_up"}
    for walk in c.walks().values():
        awaited = [v for v in walk if v.step.kind == "wait" and set(v.step.wait_for) & set(run_ups)]
        last_wet = max((i for i, v in enumerate(walk) if v.step.kind == "wet"), default=-1)
        if not awaited or walk.index(awaited[-1]) < last_wet:
            yield (
                c.procedure,
                "purpose",
                "Nothing runs up after the last surface is wetted.",
                "Start the run-up at the end and wait for it.",
            )
            return
    for cycle in run_ups.values():
        if cycle_duration_ms(cycle) < 600_000:
            yield cycle, "duration", f"{cycle.id} is shorter than 10 minutes.", "Make it at least 10 min."


@rule("limit-too-short", "A limit leaves time for everything that must happen within it.", source="computed")
def limit_too_short(c: Context) -> Iterable[Hit]:
    seen = set()
    for walk in c.walks().values():
        index = {v.step.id: i for i, v in enumerate(walk)}
        for i, v in enumerate(walk):
            if v.step.within_ms and v.step.after_step in index and v.step.id not in seen:
                need = _span_ms(c, walk, index[v.step.after_step], i)
                if need > v.step.within_ms:
                    seen.add(v.step.id)
                    yield (
                        v.flat.model,
                        "within",
                        f"{v.step.id} is due {v.step.within_ms // 1000} s after "
                        f"{v.step.after_step}; about {need // 1000} s of work lie between.",
                        "Allow more time.",
                    )


@rule("open-too-long", "An opening's limit leaves time for what is done while it is open.", source="computed")
def open_too_long(c: Context) -> Iterable[Hit]:
    seen = set()
    for walk in c.walks().values():
        for i, v in enumerate(walk):
            limit = c.plan.openings[v.step.opening].max_open_ms if v.step.kind == "open" else 0
            close = next(
                (
                    j
                    for j in range(i + 1, len(walk))
                    if walk[j].step.kind == "close" and walk[j].step.opening == v.step.opening
                ),
                None,
            )
            if limit and close is not None and v.step.opening not in seen:
                need = _span_ms(c, walk, i, close)
                if need > limit:
                    seen.add(v.step.opening)
                    yield (
                        c.opening(v.step.opening),
                        "max_open",
                        f"{v.step.opening} may be open {limit // 1000} s; "
                        f"from {v.step.id} on about {need // 1000} s are needed.",
                        "Allow more time, or do less.",
                    )


def _span_ms(c: Context, walk: list[Visit], first: int, last: int) -> int:
    from assistant.procedure.paper.run_times import run_times

    times = run_times([v.step for v in walk], c.plan)
    return times[last].end_ms - times[first].end_ms


@rule(
    "interval-too-long",
    "Intervals are not longer than the published ones for the enclosure's category.",
    source="; ".join(sorted(SOURCES.values())),
)
def interval_too_long(c: Context) -> Iterable[Hit]:
    if c.enclosure.category is None:
        return
    for purpose in LONGEST_DAYS[c.enclosure.category]:
        days = getattr(c.enclosure.intervals, purpose)
        longest = longest_published_days(c.enclosure.category, purpose)
        if days is not None and longest is not None and days > longest:
            yield (
                c.enclosure.intervals,
                purpose,
                f"{purpose} every {days} days; published: at most {longest}.",
                f"Use {longest} days or fewer.",
            )


@rule(
    "interval-missing",
    "The enclosure says how often everything is due that the register keeps.",
    WARNING,
)
def interval_missing(c: Context) -> Iterable[Hit]:
    kept = ["light", "rigorous", "glove_change", "leak_test", "certification"]
    if any(s.under for s in c.enclosure.surfaces):
        kept.append("under_tray")
    if c.enclosure.category is not None:
        kept.append("sporicidal")
    for purpose in kept:
        if getattr(c.enclosure.intervals, purpose) is None:
            yield (
                c.enclosure,
                "intervals",
                f"Nothing says how often {purpose} is due on {c.enclosure.id}.",
                f"Add {purpose} to intervals, such as 30 days.",
            )


@rule("gloves-too-long", "Outer gloves are not worn longer than the enclosure's limit.", WARNING)
def gloves_too_long(c: Context) -> Iterable[Hit]:
    from assistant.procedure.paper.run_times import run_times

    limit = c.enclosure.glove_limit
    if not limit:
        return
    for walk in c.walks().values():
        times = run_times([v.step for v in walk], c.plan)
        since = 0
        for v, t in zip(walk, times, strict=True):
            if getattr(v.flat.model, "role", None) == "outer_glove_change":
                since = t.end_ms
            if t.end_ms - since > limit:
                yield (
                    v.flat.model,
                    "",
                    f"By {v.step.id} the outer gloves are worn {(t.end_ms - since) // 60000} "
                    f"min; at most {limit // 60000}.",
                    "Change the outer gloves before.",
                )
                return

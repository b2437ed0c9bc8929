"""A loaded procedure into the Plan the core runs: flat, in one language, in milliseconds."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import Any

from assistant.calc.wipes import WipeCue, WipeJob, plan_wipes
from assistant.procedure.compiling.cycles import cycle_duration_ms
from assistant.procedure.compiling.estimate import expected_ms, least_lead_ms
from assistant.procedure.compiling.expand import FlatMishap, FlatStep
from assistant.procedure.compiling.spoken import CUES, fill, spoken_name, step_values
from assistant.procedure.loading.load import Loaded
from assistant.procedure.loading.names import ALL_CONTACTS_WORD, resolve_step
from assistant.procedure.model.enclosure import Condition, CycleModel, OpeningModel
from assistant.procedure.model.kinds import Agent, SurfaceModel, Wet, in_language
from assistant.procedure.model.plan import (
    ALL_CONTACTS,
    GAUNTLETS,
    URGENCY_PERSON,
    Cond,
    Cycle,
    Mishap,
    Opening,
    Option,
    Plan,
    Spoil,
    Step,
    Surface,
    When,
)

# Steps about the bag that used wipes leave in.
WASTE_ROLES = frozenset(("bag_ready", "waste_closed", "waste_wiped", "waste_passed_out"))


def compile_plan(loaded: Loaded, language: str = "en") -> Plan:
    """The Plan of a loaded procedure. Texts without a wording in `language` come in English."""
    return _Compiler(loaded, language).plan()


def digest(loaded: Loaded) -> str:
    """SHA-256 of the canonical content, hexadecimal: what an approval signs."""
    return hashlib.sha256(loaded.canonical()).hexdigest()


def wipe_cues(loaded: Loaded) -> dict[str, WipeCue]:
    """The wipe cue of each main-line step that wipes, by step id."""
    surfaces = {s.id: s for s in loaded.enclosure.surfaces}
    zones = {z.id: z for z in loaded.enclosure.zones}
    wipe = loaded.enclosure.wipe
    ids, jobs = [], []
    for flat in loaded.steps:
        m = flat.model
        if not isinstance(m, Wet) or m.method not in ("wipe", "damp_wipe") or m.wipe == "none":
            continue
        ids.append(flat.id)
        surface = surfaces[flat.surface]
        per_face = wipe.area_per_face.get(m.dirt) or min(wipe.area_per_face.values())
        rank = (
            surface.cleanliness
            + 100 * zones[surface.zone].dirt
            + (1000 if m.dirt == "soiled" else 0)
        )
        jobs.append(
            WipeJob(surface.area, per_face, m.agent, rank, flat.when, m.wipe == "new")
        )
    return dict(zip(ids, plan_wipes(jobs, wipe.faces), strict=True))


class _Compiler:
    def __init__(self, loaded: Loaded, language: str) -> None:
        self.loaded, self.language = loaded, language
        self.enclosure, self.procedure = loaded.enclosure, loaded.procedure
        self.surfaces = {s.id: s for s in self.enclosure.surfaces}
        self.agents = {a.id: a for a in loaded.agents.agents}
        self.gauges = {g.id: g for g in self.enclosure.gauges}
        self.cues = wipe_cues(loaded)
        self.main_ids = [s.id for s in loaded.steps]

    def text(self, text: dict[str, str] | None, values: dict[str, str] | None = None) -> str:
        return fill(in_language(text, self.language), values or {})

    def plan(self) -> Plan:
        p, e = self.procedure, self.enclosure
        return Plan(
            procedure=p.id,
            title=self.text(p.title),
            revision=p.revision,
            sha256="" if self.loaded.site.problems else digest(self.loaded),  # with a fault: to be judged, never run
            site=e.site,
            enclosure=e.id,
            enclosure_name=self.text(e.pronounce or e.name),
            language=self.language,
            surfaces={s.id: self.surface(s) for s in e.surfaces},
            openings={o.id: self.opening(o) for o in e.openings},
            cycles={c.id: self.cycle(c) for c in e.cycles},
            interlocks=tuple(frozenset(g) for g in e.interlocks),
            steps=self.main_line(self.loaded.steps, p.start_hands, self.main_ids),
            mishaps={m.id: self.mishap(m) for m in self.loaded.mishaps},
            options=tuple(Option(o.id, self.text(o.ask), o.default, o.read_back, self.text(o.claim)) for o in p.options),
            cautions=tuple(self.text(c) for c in p.cautions),
            start_hands=p.start_hands,
            end_hands=p.end_hands,
            start_machines={m.id: m.at_start for m in e.machines} | p.machines_at_start,
            end_machines={m.id: m.at_end for m in e.machines} | p.machines_at_end,
            machine_names={m.id: spoken_name(m, self.language) for m in e.machines},
            move_says={k: self.text(v) for k, v in e.moves.items()},
            stop_says=tuple(self.text(s) for s in e.stop_says),
            ask_after_dryings=e.ask_after_dryings,
            purpose=p.purpose,
            files=self.loaded.files(),
        )

    def surface(self, s: SurfaceModel) -> Surface:
        return Surface(
            s.id,
            spoken_name(s, self.language),
            s.zone,
            s.material,
            s.orientation,
            s.cleanliness,
            s.height,
            s.side,
            s.depth,
            s.area,
            tuple(s.beside),
        )

    def opening(self, o: OpeningModel) -> Opening:
        return Opening(
            o.id,
            spoken_name(o, self.language),
            _conds(o.opens_when),
            _conds(o.closes_when),
            o.at_start,
            o.at_end,
            o.reach,
            o.max_open,
            o.warn,
            o.lifts or "",
        )

    def cycle(self, c: CycleModel) -> Cycle:
        return Cycle(
            c.id,
            spoken_name(c, self.language),
            cycle_duration_ms(c),
            c.reach,
            _conds(c.starts_when),
            tuple(c.broken_by_openings),
            tuple(c.broken_by),
        )

    def mishap(self, flat: FlatMishap) -> Mishap:
        m = flat.model
        return Mishap(
            m.id,
            m.word,
            self.text(m.title),
            # A person in danger does what helps wherever they are, unless the file names the place.
            self.line(flat.steps, "" if m.urgency == URGENCY_PERSON else GAUNTLETS, [s.id for s in flat.steps]),
            tuple(Spoil(s.what, s.zone or "", tuple(s.surfaces)) for s in m.spoils),
            bool(m.breaks_cycles),
            m.then,
            self.text(m.tell),
            self.text(m.asks_which),
            m.urgency,
        )

    def line(self, steps: tuple[FlatStep, ...], hands: str, ids: list[str]) -> tuple[Step, ...]:
        """Steps in order; a step without a reach takes the place where the hands are by then."""
        out = []
        for flat in steps:
            reach = "" if flat.model.reach == "anywhere" else flat.model.reach or hands
            out.append(self.step(flat, reach, ids))
            if flat.model.do == "move":
                hands = flat.model.hands
        return tuple(out)

    def main_line(self, steps: tuple[FlatStep, ...], hands: str, ids: list[str]) -> tuple[Step, ...]:
        """The procedure's own steps; from the first about the waste bag to the glove change after the last, they
        take used wipes out and are marked so (wet steps among them aren't: they are wiping)."""
        line = self.line(steps, hands, ids)
        roles = [getattr(flat.model, "role", None) for flat in steps]
        for i, role in enumerate(roles):
            # What was wiped from the room goes into the bin there; it is binned again when wiped again.
            after = roles[i + 1] if i + 1 < len(roles) else None
            for j in (i, i + 1) if after == "outer_glove_change" else (i,):
                if role == "wipes_binned":
                    line = (*line[:j], replace(line[j], after_wiping=True), *line[j + 1 :])
        about = [i for i, role in enumerate(roles) if role in WASTE_ROLES]
        if not about:
            return line
        last = about[-1]
        change = next((i for i in range(last, len(roles)) if roles[i] == "outer_glove_change"), last)
        return tuple(
            replace(step, after_wiping=True) if about[0] <= i <= change and step.kind != "wet" else step
            for i, step in enumerate(line)
        )

    def cue(self, flat: FlatStep) -> str:
        cue = self.cues.get(flat.id)
        if cue is None:
            return ""
        words = CUES.get(self.language, CUES["en"])
        said = words[cue.start]
        if cue.wipes > 1:
            return f"{said} {words['wipes'].format(n=cue.wipes)}"
        if cue.faces > 1:
            many = "new_faces" if cue.start == "new_wipe" else "fresh_faces"
            return words[many].format(n=cue.faces)
        return said

    def step(self, flat: FlatStep, reach: str, ids: list[str]) -> Step:
        m = flat.model
        values = step_values(self.loaded, flat, self.language)
        cue = self.cue(flat)
        say = f"{cue} {self.text(m.say, values)}".strip()
        short = self.text(m.brief, values)
        brief = f"{cue} {short[:1].upper()}{short[1:]}".strip() if short else ""
        kind: dict[str, Any] = {}
        area = self.surfaces[flat.surface].area if flat.surface else 0
        speed = None
        if isinstance(m, Wet):
            agent = self.agents[m.agent]
            speed = float(agent.wipe_speed) if agent.wipe_speed else None
            kind = self._wet(flat, m)
        elif m.do == "wait":
            kind = {"wait_for": tuple(ALL_CONTACTS if f == ALL_CONTACTS_WORD else f for f in m.for_)}
        elif m.do in ("open", "close"):
            kind = {"opening": m.opening}
        elif m.do == "cycle":
            kind = {"cycle": m.cycle}
        elif m.do == "machine":
            kind = {"machine": m.machine, "machine_value": m.value}
        elif m.do == "move":
            kind = {"hands": m.hands}
        elif m.do == "check":
            kind = {"on_no": m.on_no}
        elif m.do == "reading":
            gauge = self.gauges[m.gauge]
            kind = {
                "value_kind": "number",
                "unit": m.unit or gauge.unit,
                "low": m.low or gauge.low or "",
                "high": m.high or gauge.high or "",
                "on_outside": m.on_outside,
            }
        elif m.do == "note":
            kind = {
                "value_kind": m.value,
                "not_before_today": bool(m.not_before_today),
                "on_outside": m.on_outside,
                "agent": m.agent or "",
                "agent_name": spoken_name(self.agents[m.agent], self.language) if m.agent else "",
            }
        elif m.do == "patch":
            agent = self.agents[m.agent]
            kind = {
                "surface": m.surface,
                "agent": m.agent,
                "agent_name": spoken_name(agent, self.language),
                "wet_ms": agent.wet_time.get(self.surfaces[m.surface].orientation, 0),
            }
        if m.within is not None:
            kind |= {
                "after_step": resolve_step(m.within.after, flat.scope, ids),
                "within_ms": m.within.time,
                "warn_ms": m.within.warn,
            }
        return Step(
            id=flat.id,
            kind=m.do,
            say=say,
            brief=brief,
            why=self.text(m.why, values),
            caution=self.text(m.caution, values),
            look_for=self.text(m.look_for, values),
            claim=self.text(m.claim, values),
            policy=m.policy,
            reach=reach,
            when=tuple(When(o, v) for o, v in flat.when),
            requires=self._requires(flat, ids),
            expected_ms=expected_ms(m, say, area, speed),
            floor_ms=m.floor,
            impossible_ms=m.impossible,
            file=m.file,
            line=m.line,
            **kind,
        )

    def _requires(self, flat: FlatStep, ids: list[str]) -> tuple[Cond, ...]:
        out = []
        for kind, subject, value in (c.as_triple() for c in flat.model.requires):
            out.append(
                Cond(kind, resolve_step(subject, flat.scope, ids) if kind == "step" else subject, value)
            )
        return tuple(out)

    def _wet(self, flat: FlatStep, m: Wet) -> dict[str, Any]:
        agent = self.agents[m.agent]
        surface = self.surfaces[flat.surface]
        wet_ms = m.wet_time if m.wet_time is not None else agent.wet_time.get(surface.orientation, 0)
        return {
            "surface": flat.surface,
            "agent": m.agent,
            "agent_name": spoken_name(agent, self.language),
            "contact_ms": m.contact if m.contact is not None else agent.contact,
            "wet_ms": wet_ms,
            "lead_ms": m.lead if m.lead is not None else self._lead_ms(agent, surface),
        }

    def _lead_ms(self, agent: Agent, surface: SurfaceModel) -> int:
        """Time to hear the request and to wet the whole surface again before the first stroke's part dries."""
        speed = float(agent.wipe_speed) if agent.wipe_speed else None
        name = spoken_name(surface, self.language)
        return max(agent.lead, least_lead_ms(name, surface.area, speed, self.language))


def _conds(conditions: list[Condition]) -> tuple[Cond, ...]:
    return tuple(Cond(*c.as_triple()) for c in conditions)

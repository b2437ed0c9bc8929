"""What must hold of any run, read off the site's files (enclosure, agents, procedure) and never off the plan.

The proof compares what the core does with a plan against this. A plan that was cut, swapped or forgotten somewhere
between file and core therefore shows. For a plan made without files (tests), `of_plan` reads the same off the plan.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from assistant.calc.purge import purge_time_s
from assistant.procedure.compiling.expand import FlatStep
from assistant.procedure.loading.load import Loaded
from assistant.procedure.model import plan as p
from assistant.procedure.model.enclosure import CycleModel
from assistant.procedure.model.kinds import Wet, in_language
from assistant.prover.naming import moved

Triple = tuple[str, str, str]

# What a mishap spoils at the least, whatever a file says. Common practice, no source.
LEAST_SPOILS: dict[str, tuple[str, ...]] = {
    "torn_glove": ("current",), "spill": ("current", "below"), "dropped_item": ("current", "below"),
    "wipe_reused": ("current",), "agent_out": ("current",), "power_cut": ("running",), "hand_over": ("running",),
    "unwell": ("running",), "splash": ("running",), "touched": ("chosen",), "dry_surface": ("chosen",),
}
# Instructions that put something through an opening (plain ones, and the bag's last way); a glove change or a bag that
# is filled doesn't. Common practice, no source.
_PUTS_THROUGH = ("", "waste_passed_out", "spray")
_MOVES_NOTHING = ("open", "close", "wait", "cycle", "machine")
# Mishaps after which no machine cycle counts any more. Common practice, no source.
BREAKS_CYCLES = ("pressure_alarm", "power_cut")


@dataclass(frozen=True)
class OpeningNeed:
    opens_when: tuple[Triple, ...]
    reach: str
    at_start: str
    at_end: str
    max_open_ms: int
    chamber: bool  # opening it opens the chamber to the room
    read_back: bool  # dangerous: confirmed only after a read back


@dataclass(frozen=True)
class CycleNeed:
    floor_ms: int
    reach: str
    starts_when: tuple[Triple, ...]
    broken_by_openings: frozenset[str]
    broken_by: frozenset[str]


@dataclass(frozen=True)
class SurfaceNeed:
    zone: str
    height: int
    orientation: str
    beside: tuple[str, ...]


@dataclass(frozen=True)
class Task:
    """One step as the file has it. `role`: what static rules call it; "" for plain work."""

    id: str
    kind: str
    when: tuple[tuple[str, bool], ...] = ()
    surface: str = ""
    agent: str = ""
    cycle: str = ""
    opening: str = ""
    wait_for: tuple[str, ...] = ()
    role: str = ""
    witnessed: bool = False
    low: str = ""
    high: str = ""
    pass_outside: bool = True  # a value outside its limits, or an answer no, may be gone on from as a deviation
    dated: bool = False
    read_from: tuple[str, ...] = ()
    after: str = ""
    within_ms: int = 0
    says: str = ""  # as the file words it, for a step that the plan lacks
    place: str = ""  # file:line
    tray: str = ""  # what an instruction is about: the tray that it lifts or puts back
    wiped_from: str = ""  # where the hands are while a surface is wiped: where its wipe is then
    passes: bool = False  # leads through whatever stands open there: something is put through, or hands by the window


@dataclass(frozen=True)
class MishapNeed:
    word: str
    spoils: tuple[tuple[str, str, tuple[str, ...]], ...]  # (what, zone, surfaces)
    breaks_cycles: bool
    then: str
    steps: tuple[str, ...]  # ids that a person must have gone through before work goes on
    urgency: str = p.URGENCY_WORK
    line: tuple[tuple[str, tuple[tuple[str, bool], ...]], ...] = ()  # every step in order: (id, the answers it is for)


@dataclass(frozen=True)
class Requirements:
    """All of it, in ms. `wet_ms`: longest time a surface stays wet, by (agent, surface)."""

    openings: dict[str, OpeningNeed]
    interlocks: tuple[frozenset[str], ...]
    cycles: dict[str, CycleNeed]
    surfaces: dict[str, SurfaceNeed]
    contact_ms: dict[str, int]
    wet_ms: dict[tuple[str, str], int]
    fans: frozenset[str]
    machines_at_start: dict[str, str]
    machines_at_end: dict[str, str]
    start_hands: str
    end_hands: str
    tasks: tuple[Task, ...]
    mishaps: dict[str, MishapNeed]
    covers: frozenset[str] = frozenset()
    source: str = "files"
    order: dict[str, int] = field(default_factory=dict)
    needed: dict[tuple[tuple[str, bool], ...], tuple[Task, ...]] = field(default_factory=dict, compare=False)

    def task(self, step_id: str) -> Task | None:
        """The file's step of the main line, or None."""
        index = self.order.get(step_id)
        return None if index is None else self.tasks[index]

    def applies(self, options: dict[str, bool]) -> tuple[Task, ...]:
        """The tasks that these answers call for."""
        key = tuple(sorted(options.items()))
        found = self.needed.get(key)
        if found is None:
            found = tuple(t for t in self.tasks if all(options.get(o, False) == v for o, v in t.when))
            self.needed[key] = found
        return found


def _least(word: str, spoils: list[tuple[str, str, tuple[str, ...]]]) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
    have = {what for what, _, _ in spoils}
    return (*spoils, *((what, "", ()) for what in LEAST_SPOILS.get(word, ()) if what not in have))


def of_files(loaded: Loaded) -> Requirements:
    """The requirements of a loaded procedure."""
    e, a, pr = loaded.enclosure, loaded.agents, loaded.procedure
    openings = {}
    for o in e.openings:
        opens = tuple(c.as_triple() for c in o.opens_when)
        danger = bool(o.opens_chamber) or any(kind == "cycle" for kind, _, _ in opens)
        openings[o.id] = OpeningNeed(opens, o.reach, o.at_start, o.at_end, o.max_open, bool(o.opens_chamber), danger)
    cycles = {
        c.id: CycleNeed(
            max(c.duration or 0, _formula_ms(c)), c.reach, tuple(x.as_triple() for x in c.starts_when),
            frozenset(c.broken_by_openings), frozenset(c.broken_by),
        )
        for c in e.cycles
    }
    surfaces = {s.id: SurfaceNeed(s.zone, s.height, s.orientation, tuple(s.beside)) for s in e.surfaces}
    agents = {x.id: x for x in a.agents}
    orientations = {s.id: s.orientation for s in e.surfaces}
    tasks = tuple(_file_tasks(loaded))
    wet: dict[tuple[str, str], int] = {}
    for flat in (*loaded.steps, *(s for m in loaded.mishaps for s in m.steps)):
        m = flat.model
        if isinstance(m, Wet):
            own = agents[m.agent].wet_time.get(orientations[flat.surface], 0)
            key = (m.agent, flat.surface)
            wet[key] = max(wet.get(key, 0), m.wet_time if m.wet_time is not None else own)
    mishaps = {}
    for branch in loaded.mishaps:
        b = branch.model
        spoils: list[tuple[str, str, tuple[str, ...]]] = [(s.what, s.zone or "", tuple(s.surfaces)) for s in b.spoils]
        mishaps[b.id] = MishapNeed(
            b.word, _least(b.word, spoils), bool(b.breaks_cycles) or b.word in BREAKS_CYCLES, b.then,
            tuple(s.id for s in branch.steps if not s.when), b.urgency,
            tuple((s.id, tuple(s.when)) for s in branch.steps),
        )
    left_out = {x.surface for x in pr.leaves_out}
    return _built(
        openings=openings, interlocks=tuple(frozenset(g) for g in e.interlocks), cycles=cycles, surfaces=surfaces,
        contact_ms={x.id: x.contact for x in a.agents}, wet_ms=wet,
        fans=frozenset(m.id for m in e.machines if m.role == "fan"),
        machines_at_start={m.id: m.at_start for m in e.machines} | pr.machines_at_start,
        machines_at_end={m.id: m.at_end for m in e.machines} | pr.machines_at_end,
        start_hands=pr.start_hands, end_hands=pr.end_hands, tasks=tasks, mishaps=mishaps,
        covers=frozenset(s.id for s in e.surfaces if s.zone in pr.cleans_zones and s.id not in left_out),
    )


def _formula_ms(cycle: CycleModel) -> int:
    if cycle.work_out is None or cycle.validated_by:
        return 0  # a validated time of the site's own stands; then `duration` is the floor
    w = cycle.work_out
    return 1000 * purge_time_s(
        volume_m3=float(w.volume), airflow_m3_h=float(w.airflow), removal_fraction=float(w.removal) / 100,
        mixing_factor=float(w.mixing_factor))


def _file_tasks(loaded: Loaded) -> Iterator[Task]:
    hands = loaded.procedure.start_hands
    for flat in loaded.steps:
        m = flat.model
        reach = m.reach or hands
        by_window = p.WINDOW in ((hands, m.hands) if m.do == "move" else (reach,)) and m.do not in _MOVES_NOTHING
        passes = by_window or (m.do == "instruct" and (m.role or "") in _PUTS_THROUGH)
        yield replace(_file_task(loaded, flat, reach if m.do == "wet" else ""), passes=passes)
        if m.do == "move":
            hands = m.hands


def _file_task(loaded: Loaded, flat: FlatStep, wiped_from: str) -> Task:
    from assistant.procedure.compiling.spoken import fill, step_values
    from assistant.procedure.loading.names import ALL_CONTACTS_WORD, resolve_step

    m = flat.model
    kind = m.do
    more: dict[str, Any] = {}
    if m.do == "wet":
        wipes = m.method in ("wipe", "damp_wipe") and m.wipe != "none"
        more = {"surface": flat.surface, "agent": m.agent, "wiped_from": wiped_from if wipes else ""}
    elif m.do == "wait":
        more = {"wait_for": tuple(p.ALL_CONTACTS if f == ALL_CONTACTS_WORD else f for f in m.for_)}
    elif m.do == "cycle":
        more = {"cycle": m.cycle}
    elif m.do in ("open", "close"):
        more = {"opening": m.opening}
    elif m.do == "reading":
        gauge = {g.id: g for g in loaded.enclosure.gauges}[m.gauge]
        more = {
            "low": m.low or gauge.low or "", "high": m.high or gauge.high or "",
            "pass_outside": m.on_outside == "deviate", "read_from": tuple(gauge.read_from),
        }
    elif m.do == "note":
        marks = {x.id: x for x in loaded.enclosure.markings}
        more = {
            "dated": m.value == "date" and bool(m.not_before_today),
            "read_from": tuple(marks[m.marking].read_from) if m.marking else (),
        }
    elif m.do == "instruct":
        more = {"tray": m.surface or ""}
    elif m.do == "check":
        more = {"pass_outside": m.on_no == "deviate"}
    if m.within is not None:
        ids = [s.id for s in loaded.steps]
        more |= {"after": resolve_step(m.within.after, flat.scope, ids), "within_ms": m.within.time}
    role = getattr(m, "role", None) or ""
    said = moved(m.hands) if m.do == "move" else fill(in_language(m.say, "en"), step_values(loaded, flat, "en"))
    return Task(
        flat.id, kind, tuple(flat.when), role=role, witnessed=m.policy == "witness" or kind == "witness", says=said,
        place=f"{m.file}:{m.line}", **more)


def of_plan(plan: p.Plan) -> Requirements:
    """The same, read off a plan for which there are no files. A fault in the plan then hides in its own
    requirements: good for testing the core, not for proving a procedure."""
    tasks = []
    for s in plan.steps:
        tasks.append(Task(
            s.id, s.kind, tuple((w.option, w.equals) for w in s.when), s.surface, s.agent, s.cycle, s.opening,
            s.wait_for, "waste_closed" if s.after_wiping and s.kind == p.INSTRUCT else "",
            s.policy == p.WITNESSED or s.kind == p.WITNESS, s.low, s.high,
            (s.on_no if s.kind == p.CHECK else s.on_outside or "deviate") == "deviate",
            s.not_before_today, (), s.after_step, s.within_ms,
        ))
    wets = [s for s in plan.steps if s.kind == p.WET]
    machines = {s.machine for s in plan.steps if s.machine} | set(plan.start_machines)
    return _built(
        openings={
            o.id: OpeningNeed(
                tuple((c.kind, c.subject, c.value) for c in o.opens_when), o.reach, o.at_start, o.at_end, o.max_open_ms,
                any(c.kind == "machine" and c.subject == "fan" for c in o.opens_when),
                any(c.kind == "cycle" for c in o.opens_when),
            )
            for o in plan.openings.values()
        },
        interlocks=plan.interlocks,
        cycles={
            c.id: CycleNeed(
                c.duration_ms, c.reach, tuple((x.kind, x.subject, x.value) for x in c.starts_when),
                frozenset(c.broken_by_openings), frozenset(c.broken_by),
            )
            for c in plan.cycles.values()
        },
        surfaces={s.id: SurfaceNeed(s.zone, s.height, s.orientation, s.beside) for s in plan.surfaces.values()},
        contact_ms={s.agent: min(w.contact_ms for w in wets if w.agent == s.agent) for s in wets},
        wet_ms={(s.agent, s.surface): s.wet_ms for s in wets},
        fans=frozenset(m for m in machines if m == "fan"),
        machines_at_start=dict(plan.start_machines), machines_at_end=dict(plan.end_machines),
        start_hands=plan.start_hands, end_hands=plan.end_hands, tasks=tuple(tasks),
        mishaps={
            m.id: MishapNeed(
                m.word, _least(m.word, [(s.what, s.zone, s.surfaces) for s in m.spoils]),
                m.breaks_cycles or m.word in BREAKS_CYCLES, m.then, tuple(s.id for s in m.steps if not s.when), m.urgency,
                tuple((s.id, tuple((w.option, w.equals) for w in s.when)) for s in m.steps),
            )
            for m in plan.mishaps.values()
        },
        source="plan",
    )


def _built(**values: Any) -> Requirements:
    return Requirements(**values, order={t.id: i for i, t in enumerate(values["tasks"])})

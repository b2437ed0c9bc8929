"""Checks that every name a file uses exists: surfaces, zones, openings, cycles, machines, gauges, agents, steps."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from assistant.procedure.compiling.expand import FlatMishap, FlatStep
from assistant.procedure.loading.gaps import BRANCH, MISHAPS, SHELVES
from assistant.procedure.loading.problems import a_or_an, nearest
from assistant.procedure.loading.source import Site
from assistant.procedure.loading.units import unit_is_known
from assistant.procedure.model.enclosure import Condition
from assistant.procedure.model.kinds import (
    AgentsFile,
    Check,
    Close,
    EnclosureFile,
    Include,
    Instruct,
    Node,
    Note,
    Open,
    Patch,
    ProcedureFile,
    Reading,
    SetMachine,
    StartCycle,
    Wait,
    Wet,
)
from assistant.procedure.model.procedure import MishapInclude

ALL_CONTACTS_WORD = "all_contacts"


class Names:
    """The names of one enclosure, its agents and one procedure."""

    def __init__(self, site: Site, enclosure: EnclosureFile, agents: AgentsFile) -> None:
        self.site, self.gaps = site, site.gaps
        self.includes: tuple[Include | MishapInclude, ...] = ()  # those around the step at hand, outermost first
        self.ok = True  # whether every name asked about since this was last set can be used
        self.surfaces = {s.id for s in enclosure.surfaces}
        self.zones = {z.id for z in enclosure.zones}
        self.openings = {o.id for o in enclosure.openings}
        self.cycles = {c.id for c in enclosure.cycles}
        self.machines = {m.id: m for m in enclosure.machines}
        self.gauges = {g.id: g for g in enclosure.gauges}
        self.markings = {m.id for m in enclosure.markings}
        self.agents = {a.id for a in agents.agents}
        self.gear = {g.id for g in (*enclosure.tools, *enclosure.protective_equipment)}
        self.enclosure, self.agents_file = enclosure, agents

    def known(self, node: Node, field: str, name: str | None, valid: Iterable[str], what: str) -> bool:
        """Notes a problem unless `name` is one of `valid`. False without one: it is left out because of a fault that
        was named where it stands."""
        valid = set(valid)
        if name is None:
            return True
        lost = self.gaps.is_lost(what, name)
        if name in valid and not any(name in self.gaps.lost.get(k, ()) for k in what.split(" or ")):
            return True
        self.ok = False
        if name in valid or (self.gaps.any_lost("parameter") if name[:1] == "{" else lost):
            return False
        if name[:1] == "{":
            message, expected = f"Nothing fills {name} here.", "a parameter of the part, or the name a repeat gives"
        else:
            message = f"There is no {what} called {name}."
            owner = "" if what.startswith("state of") else f" of {self.enclosure.id}"
            expected = f"{a_or_an(what)}{owner}"
        node, field = self._given_by(node, field)
        self.site.problems.append(self.site.problem(node, field, message, expected, nearest(name, valid)))
        return False

    def _given_by(self, node: Node, field: str) -> tuple[Node, str]:
        """Where a name was written: at the include, if it came in by a parameter."""
        for include in reversed(self.includes):
            tree = self.site.tree_of(node)
            raw: Any = tree.data if tree else None
            for part in (*node.path, *field.split(".")):
                part = int(part) if isinstance(part, str) and part.isdigit() else part
                try:
                    raw = raw[part]
                except (KeyError, IndexError, TypeError):
                    return node, field
            parameter = raw[1:-1] if isinstance(raw, str) and raw[:1] == "{" and raw[-1:] == "}" else ""
            if parameter not in include.with_:
                return node, field
            node, field = include, f"with.{parameter}"
        return node, field

    def conditions(self, node: Node, field: str, conditions: list[Condition], steps: set[str]) -> None:
        """Checks the names in a list of conditions."""
        for c in conditions:
            self.known(c, "opening", c.opening, self.openings, "opening")
            self.known(c, "cycle", c.cycle, self.cycles, "cycle")
            self.known(c, "contact", c.contact, self.surfaces, "surface")
            if self.known(c, "machine", c.machine, self.machines, "machine") and c.machine:
                self.known(c, "is", c.is_, self.machines[c.machine].values, f"state of {c.machine}")
            if c.step is not None and c.step not in steps:
                self.known(c, "step", c.step, steps, "step")

    def check_enclosure(self) -> None:
        """The enclosure's own references and doubled ids. What has a fault is left out, and so is what refers to it."""
        e = self.enclosure
        for field in ("zones", "surfaces", "openings", "cycles", "machines", "gauges", "markings"):
            self._unique(getattr(e, field), field)
        self._unique(self.agents_file.agents, "agents")
        before = -1
        while before != (before := sum(len(x) for x in self.gaps.lost.values())):
            self._check_items()
        for i, group in enumerate(e.interlocks):
            for j, name in enumerate(group):
                self._head(e, f"interlocks.{i}.{j}", name, self.openings, "opening")
        moves = {
            f"{a}>{b}"
            for a in ("room", "gauntlets", "window")
            for b in ("room", "gauntlets", "window")
            if a != b
        }
        for name in e.moves:
            self._head(e, f"moves.{name}", name, moves, "move")

    def _check_items(self) -> None:
        e = self.enclosure
        for s in e.surfaces:
            with self._item("surfaces", s):
                self.known(s, "zone", s.zone, self.zones, "zone")
                self.known(s, "under", s.under, self.surfaces, "surface")
                for i, b in enumerate(s.beside):
                    self.known(s, f"beside.{i}", b, self.surfaces, "surface")
        for o in e.openings:
            with self._item("openings", o):
                self.conditions(o, "opens_when", o.opens_when, set())
                self.conditions(o, "closes_when", o.closes_when, set())
                self.known(o, "lifts", o.lifts, self.surfaces, "surface")
        for c in e.cycles:
            with self._item("cycles", c):
                self.conditions(c, "starts_when", c.starts_when, set())
                for i, name in enumerate(c.broken_by_openings):
                    self.known(c, f"broken_by_openings.{i}", name, self.openings, "opening")
        for m in e.machines:
            with self._item("machines", m):
                self.known(m, "at_start", m.at_start, m.values, f"state of {m.id}")
                self.known(m, "at_end", m.at_end, m.values, f"state of {m.id}")
        for g in e.gauges:
            with self._item("gauges", g):
                self._unit(g, "unit", g.unit)
        for a in self.agents_file.agents:
            with self._item("agents", a):
                for i, clash in enumerate(a.clashes):
                    self.known(a, f"clashes.{i}.agent", clash.agent, self.agents, "agent")

    @contextmanager
    def _item(self, shelf: str, item: Any) -> Iterator[None]:
        """What is asked within: where a name of it can't be used, the item itself is left out."""
        self.ok = True
        yield
        if not self.ok and item.id not in self.gaps.lost.get(SHELVES[shelf], ()):
            self.gaps.lose_item(shelf, item.id)

    def _head(self, node: Node, field: str, name: str, valid: Iterable[str], what: str) -> bool:
        """The same for a name in a field of the whole file: what rests on the field can't be judged."""
        if self.known(node, field, name, valid, what):
            return True
        kind = "enclosure" if node is self.enclosure else "procedure"
        self.gaps.aspects.add(f"{kind}.{field.split('.')[0]}")
        return False

    def _unit(self, node: Node, field: str, unit: str) -> None:
        if not any(unit_is_known(unit, t) for t in ("Pa", "%", "ms", "m3/h", "mm", "mL")) and unit not in (
            "degC",
            "m/s",
            "count",
            "°C",
        ):
            self.ok = False
            self.site.problems.append(
                self.site.problem(
                    node, field, f"The unit {unit} isn't known.", "a unit such as Pa, in. w.c., %, m3/h"
                )
            )

    def _unique(self, items: Iterable[Any], what: str) -> None:
        seen: dict[str, Any] = {}
        for item in items:
            if item.id in seen:
                self.site.problems.append(
                    self.site.problem(
                        item,
                        "id",
                        f"The id {item.id} stands twice among the {what}.",
                        "each id once",
                        f"It stands in line {seen[item.id].line} already.",
                    )
                )
                if what == "options":
                    self.gaps.lose("option", item.id)
                    self.gaps.aspects.add("procedure.options")
                else:
                    self.gaps.lose_item(what, item.id)
            seen[item.id] = item

    def check_procedure(
        self, p: ProcedureFile, steps: list[FlatStep], mishaps: list[FlatMishap]
    ) -> tuple[list[FlatStep], list[FlatMishap]]:
        """Every reference of the procedure, main line and branches. Returns the steps and branches that can be judged;
        what the others leave open stands in the gaps."""
        self._unique(p.options, "options")
        options = {o.id for o in p.options}
        for i, z in enumerate(p.cleans_zones):
            self._head(p, f"cleans_zones.{i}", z, self.zones, "zone")
        for field in ("machines_at_start", "machines_at_end"):
            for machine, value in getattr(p, field).items():
                if self._head(p, f"{field}.{machine}", machine, self.machines, "machine"):
                    self._head(
                        p, f"{field}.{machine}", value, self.machines[machine].values, f"state of {machine}"
                    )
        for left in p.leaves_out:
            if not self.known(left, "surface", left.surface, self.surfaces, "surface"):
                self.gaps.aspects.add("procedure.leaves_out")
        doubled = self._doubled(steps)
        ids = {flat.id for flat in steps}
        good = []
        for flat in steps:
            usable = self._step(flat, ids, options, {m.id for m in mishaps}) and flat.id not in doubled
            if usable and not self.gaps.leaves_out(flat.model):
                good.append(flat)
            else:
                self.gaps.lose_step(_raw(flat))
        return good, self._check_mishaps(mishaps, options)

    def _doubled(self, steps: list[FlatStep]) -> set[str]:
        seen: dict[str, FlatStep] = {}
        doubled = set()
        for flat in steps:
            if flat.id in seen:
                doubled.add(flat.id)
                self.site.problems.append(
                    self.site.problem(
                        flat.model,
                        "id",
                        f"The step {flat.id} stands twice.",
                        "each step id once",
                        f"It stands in line {seen[flat.id].model.line} already.",
                    )
                )
            seen[flat.id] = flat
        return doubled

    def _check_mishaps(self, mishaps: list[FlatMishap], options: set[str]) -> list[FlatMishap]:
        words: dict[str, FlatMishap] = {}
        bad: set[str] = set()
        out = []
        for m in mishaps:
            if m.model.word and m.model.word in words:
                self.site.problems.append(
                    self.site.problem(
                        m.model,
                        "word",
                        f"The word {m.model.word} starts two branches.",
                        "one branch for a word",
                    )
                )
                bad |= {m.id, words[m.model.word].id}
            words[m.model.word] = m
            self.ok = True
            for spoil in m.model.spoils:
                self.known(spoil, "zone", spoil.zone, self.zones, "zone")
                for i, s in enumerate(spoil.surfaces):
                    self.known(spoil, f"surfaces.{i}", s, self.surfaces, "surface")
            if not self.ok or self.gaps.leaves_out(m.model):
                bad.add(m.id)
            inner = {f.id for f in m.steps}
            if len(inner) < len(m.steps):
                bad.add(m.id)
                self.site.problems.append(
                    self.site.problem(
                        m.model, "steps", f"A step id stands twice in the branch {m.id}.", "each step id once"
                    )
                )
            good = []
            for flat in m.steps:
                usable = self._step(flat, inner, options, {x.id for x in mishaps})
                if usable and not self.gaps.leaves_out(flat.model):
                    good.append(flat)
                else:
                    self.gaps.lose_step(_raw(flat), main=False, branch=True)
            out.append(replace(m, steps=tuple(good)))
        if bad:
            self.gaps.aspects |= {MISHAPS, BRANCH}
        return [m for m in out if m.id not in bad]

    def _step(self, flat: FlatStep, ids: set[str], options: set[str], mishaps: set[str]) -> bool:
        """Whether every name of a step can be used."""
        m = flat.model
        self.ok, self.includes = True, flat.includes
        for option, _ in flat.when:
            self.known(m, f"when.{option}" if option in m.when else "", option, options, "option")
        for c in m.requires:
            if c.step is not None:
                resolve_step(c.step, flat.scope, ids) or self.known(c, "step", c.step, ids, "step")
        self.conditions(m, "requires", [c for c in m.requires if c.step is None], ids)
        if m.within is not None:
            after = resolve_step(m.within.after, flat.scope, ids)
            if not after:
                self.known(m.within, "after", m.within.after, ids, "step")
            elif after == flat.id:
                self.ok = False
                self.site.problems.append(
                    self.site.problem(m.within, "after", f"{flat.id} is limited by itself.", "a step before it")
                )
        if isinstance(m, Wet):
            self.known(m, "agent", m.agent, self.agents, "agent")
            self.known(m, "zone", m.zone, self.zones, "zone")
            if m.surface:
                self.known(m, "surface", m.surface, self.surfaces, "surface")
            if flat.surface in self.gaps.lost.get("surface", ()):
                self.ok = False  # one of a zone's
            for i, s in enumerate(m.surfaces):
                self.known(m, f"surfaces.{i}", s, self.surfaces, "surface")
            for i, s in enumerate(m.except_):
                self.known(m, f"except.{i}", s, self.surfaces, "surface")
        elif isinstance(m, Wait):
            for i, name in enumerate(m.for_):
                self.known(
                    m, f"for.{i}", name, self.surfaces | self.cycles | {ALL_CONTACTS_WORD}, "surface or cycle"
                )
        elif isinstance(m, (Open, Close)):
            self.known(m, "opening", m.opening, self.openings, "opening")
        elif isinstance(m, StartCycle):
            self.known(m, "cycle", m.cycle, self.cycles, "cycle")
        elif isinstance(m, SetMachine):
            if self.known(m, "machine", m.machine, self.machines, "machine"):
                self.known(m, "value", m.value, self.machines[m.machine].values, f"state of {m.machine}")
        elif isinstance(m, Reading):
            self.known(m, "gauge", m.gauge, self.gauges, "gauge")
            if m.unit is not None:
                self._unit(m, "unit", m.unit)
            self._outcome(m, "on_outside", m.on_outside, mishaps)
        elif isinstance(m, Note):
            self.known(m, "agent", m.agent, self.agents, "agent")
            self.known(m, "marking", m.marking, self.markings, "marking")
            self._outcome(m, "on_outside", m.on_outside, mishaps)
        elif isinstance(m, Check):
            self.known(m, "agent", m.agent, self.agents, "agent")
            self.known(m, "marking", m.marking, self.markings, "marking")
            self._outcome(m, "on_no", m.on_no, mishaps)
        elif isinstance(m, Patch):
            self.known(m, "surface", m.surface, self.surfaces, "surface")
            self.known(m, "agent", m.agent, self.agents, "agent")
        elif isinstance(m, Instruct):
            self.known(m, "tool", m.tool, self.gear, "tool")
            self.known(m, "agent", m.agent, self.agents, "agent")
            self.known(m, "surface", m.surface, self.surfaces, "surface")
        self.includes = ()
        return self.ok

    def _outcome(self, node: Node, field: str, outcome: str, mishaps: set[str]) -> None:
        if outcome.startswith("mishap:"):
            self.known(node, field, outcome.removeprefix("mishap:"), mishaps, "mishap")


def _raw(flat: FlatStep) -> dict[str, Any]:
    """What a step's kind and role are, for what its lack leaves open."""
    role = getattr(flat.model, "role", None)
    return {"do": flat.model.do} | ({"role": role} if role else {})


def resolve_step(name: str, scope: tuple[str, ...], ids: Iterable[str]) -> str:
    """The full id `name` means inside `scope` (innermost first), or "". A wet step by zone means its last one."""
    known = list(ids) if not isinstance(ids, (set, dict)) else ids
    for depth in range(len(scope), -1, -1):
        full = ".".join((*scope[:depth], name))
        if full in known:
            return full
        inner = [i for i in known if i.startswith(full + ".")]
        if inner:
            return max(inner) if isinstance(known, set) else inner[-1]
    return ""

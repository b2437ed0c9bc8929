"""Unfolds includes, repeats and wetting by zone into one flat line of steps, each with its full id."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, replace
from typing import Any

from assistant.procedure.loading.gaps import BRANCH, MISHAPS
from assistant.procedure.loading.problems import nearest
from assistant.procedure.loading.salvage import salvage
from assistant.procedure.loading.source import Site
from assistant.procedure.loading.validate import Kept
from assistant.procedure.model.kinds import (
    AnyStep,
    EnclosureFile,
    Include,
    MishapModel,
    PlainStep,
    Repeat,
    SurfaceModel,
    Wet,
)

MAX_STEPS = 800
Conditions = tuple[tuple[str, bool], ...]  # (option, wanted answer)
MAX_INCLUDE_DEPTH = 6
# Filled when a step is compiled; a parameter of the same name would take their place.
PLACEHOLDERS = frozenset(
    (
        "surface",
        "agent",
        "opening",
        "cycle",
        "machine",
        "gauge",
        "marking",
        "enclosure",
        "how",
        "contact",
        "low",
        "high",
        "unit",
        "minutes",
    )
)


@dataclass(frozen=True, slots=True)
class FlatStep:
    """One step after unfolding. `scope`: the ids of the includes and repeats around it, outermost first."""

    id: str
    model: PlainStep
    when: tuple[tuple[str, bool], ...]
    scope: tuple[str, ...] = ()
    surface: str = ""  # for wet steps
    includes: tuple[Include, ...] = ()  # those it came by, outermost first


@dataclass(frozen=True, slots=True)
class FlatMishap:
    """One mishap branch after unfolding."""

    id: str
    model: MishapModel
    steps: tuple[FlatStep, ...]


def wiping_order(surface: SurfaceModel) -> tuple[int, int, int, int]:
    """Cleanest to dirtiest, top to bottom, left to right, back to front."""
    return (surface.cleanliness, surface.height, surface.side, surface.depth)


def substitute(value: Any, filled: dict[str, Any]) -> Any:
    """`value` with every `{name}` of `filled` put in; a text that is only `{name}` takes the value as it is."""
    if isinstance(value, str):
        if value[:1] == "{" and value[-1:] == "}" and value[1:-1] in filled:
            return filled[value[1:-1]]
        for name, inner in filled.items():
            if "{" + name + "}" in value:
                value = value.replace("{" + name + "}", str(inner))
        return value
    if isinstance(value, Kept):
        out = Kept(substitute(v, filled) for v in value)
        out.at = value.at
        return out
    if isinstance(value, list):
        return [substitute(v, filled) for v in value]
    if isinstance(value, dict):
        return {k: substitute(v, filled) for k, v in value.items()}
    return value


class Unfolder:
    """Unfolds one procedure. Problems go to the site's list; what can't be unfolded is left out."""

    def __init__(self, site: Site, enclosure: EnclosureFile) -> None:
        self.site = site
        self.enclosure = enclosure
        self.count = 0

    def steps(
        self,
        models: list[AnyStep],
        when: Conditions = (),
        scope: tuple[str, ...] = (),
        parts: tuple[str, ...] = (),
    ) -> list[FlatStep]:
        """The flat line of `models`; `when`, `scope`, `parts` come from the includes around them."""
        out: list[FlatStep] = []
        for model in models:
            # Both are kept where an inner condition contradicts an outer one: such a step is never reached.
            conditions = tuple(sorted({*when, *model.when.items()}))
            if isinstance(model, Include):
                out.extend(self._include(model, conditions, scope, parts))
            elif isinstance(model, Repeat):
                out.extend(self._repeat(model, conditions, scope, parts))
            else:
                out.extend(self._plain(model, conditions, scope))
        return out

    def _models(self, item: Any, data: Any, tree: Any, base: Any, what: str) -> list[Any]:
        """A list with its parameters filled in, as models; what isn't valid is left out and noted."""
        models, _, problems = salvage(list[item], data, tree, self.site.gaps, what, base)
        self.site.problems.extend(problems)
        return models or []

    def _plain(self, model: PlainStep, when: Conditions, scope: tuple[str, ...]) -> list[FlatStep]:
        self.count += 1
        if self.count > MAX_STEPS:
            self.site.gaps.lose_step(None, branch=True)
            if self.count == MAX_STEPS + 1:
                self.site.problems.append(
                    self.site.problem(
                        model,
                        "id",
                        f"The procedure unfolds into more than {MAX_STEPS} steps.",
                        "a shorter procedure",
                    )
                )
            return []
        full = ".".join((*scope, model.id))
        if not isinstance(model, Wet):
            return [FlatStep(full, model, when, scope)]
        targets = self._targets(model)
        if len(targets) == 1 and not model.zone and not model.surfaces:
            return [FlatStep(full, model, when, scope, targets[0])]
        self.count += max(0, len(targets) - 1)
        return [FlatStep(f"{full}.{t}", model, when, scope, t) for t in targets]

    def _targets(self, model: Wet) -> list[str]:
        if model.surface:
            return [model.surface]
        if model.surfaces:
            return list(model.surfaces)
        assert model.zone is not None  # a wet step has one of the three
        inside = [s for s in self.enclosure.surfaces if s.zone == model.zone and s.id not in model.except_]
        zones = [z.id for z in self.enclosure.zones]
        if not inside:
            self.site.gaps.lose_step({"do": "wet"}, branch=True)
        if model.zone not in zones and self.site.gaps.is_lost("zone", model.zone):
            pass
        elif model.zone not in zones:
            self.site.problems.append(
                self.site.problem(
                    model,
                    "zone",
                    f"There is no zone called {model.zone}.",
                    f"a zone of {self.enclosure.id}",
                    nearest(model.zone, zones),
                )
            )
        elif not inside:
            self.site.problems.append(
                self.site.problem(
                    model,
                    "zone",
                    f"The zone {model.zone} has no surface left to wet.",
                    "at least one surface",
                )
            )
        return [s.id for s in sorted(inside, key=wiping_order)]

    def _include(
        self, model: Include, when: Conditions, scope: tuple[str, ...], parts: tuple[str, ...]
    ) -> list[FlatStep]:
        if self.site.gaps.leaves_out(model):
            return []
        raw = self._part(model, model.part, model.with_, parts)
        if raw is None:
            self.site.gaps.lose_step(None, branch=True)
            return []
        part, tree, filled = raw
        data = substitute(self.site.kept[tree.file].get("steps", []), filled)
        models = self._models(AnyStep, data, tree, ("steps",), "part")
        inner = self.steps(models, when, (*scope, model.id), (*parts, part.id))
        return [replace(flat, includes=(model, *flat.includes)) for flat in inner]

    def _part(self, asked_by: Any, name: str, given: dict[str, Any], parts: tuple[str, ...]) -> Any:
        """(part, its tree, filled-in parameters) or None after noting what is wrong."""
        note = self.site.problems.append
        if name in parts:
            chain = " -> ".join((*parts, name))
            note(
                self.site.problem(
                    asked_by,
                    "part",
                    f"The part {name} includes itself: {chain}.",
                    "parts that don't include each other in a circle",
                )
            )
            return None
        if len(parts) >= MAX_INCLUDE_DEPTH:
            note(
                self.site.problem(
                    asked_by, "part", f"Parts are included {MAX_INCLUDE_DEPTH} deep.", "a flatter arrangement"
                )
            )
            return None
        part = self.site.find("part", name, asked_by, "part")
        if part is None:
            return None
        known = {p.id: p for p in part.parameters}
        wrong = [key for key in given if key not in known]
        for parameter in part.parameters:
            if parameter.id in PLACEHOLDERS:
                note(
                    self.site.problem(
                        parameter,
                        "id",
                        f"The parameter {parameter.id} hides a placeholder.",
                        "another name",
                        f"Call it which_{parameter.id}.",
                    )
                )
        for key in () if self.site.gaps.any_lost("parameter") else wrong:
            note(
                self.site.problem(
                    asked_by,
                    f"with.{key}",
                    f"The part {name} has no parameter {key}.",
                    "a parameter of the part",
                    nearest(key, known),
                )
            )
        filled: dict[str, Any] = {}
        for key, parameter in known.items():
            if key in given:
                filled[key] = given[key]
            elif parameter.default is not None or not parameter.required:
                filled[key] = parameter.default
            elif not difflib.get_close_matches(key, wrong, 1):  # a parameter written wrongly is said once
                note(
                    self.site.problem(
                        asked_by, "", f"The part {name} needs the parameter {key}.", f"with: {{{key}: ...}}"
                    )
                )
        if wrong or len(filled) < len(known):
            return None
        return part, self.site.tree_of(part), filled

    def _repeat(
        self, model: Repeat, when: Conditions, scope: tuple[str, ...], parts: tuple[str, ...]
    ) -> list[FlatStep]:
        out: list[FlatStep] = []
        tree = self.site.tree_of(model)
        names = {
            t.id: t.name["en"]
            for t in (
                *self.enclosure.surfaces,
                *self.enclosure.openings,
                *self.enclosure.zones,
                *self.enclosure.machines,
            )
        }
        for item in model.each:
            filled = {model.as_: item, f"{model.as_}_name": names.get(item, item.replace("_", " "))}
            data = substitute(model._raw.get("steps", []), filled)
            assert tree is not None  # it was read from a file
            what = "procedure" if tree.data.get("kind") == "procedure" else "part"
            models = self._models(AnyStep, data, tree, (*model.path, "steps"), what)
            out.extend(self.steps(models, when, (*scope, f"{model.id}.{item}"), parts))
        return out

    def mishaps(self, procedure: Any) -> list[FlatMishap]:
        """The procedure's own branches and those of its parts; its own take the place of a part's."""
        chosen: dict[str, MishapModel] = {}
        for include in procedure.mishap_parts:
            raw = None if self.site.gaps.leaves_out(include) else self._part(include, include.part, include.with_, ())
            if raw is None:
                self.site.gaps.aspects |= {MISHAPS, BRANCH}
                self.site.gaps.lose("mishap", None)
                continue
            _part, tree, filled = raw
            data = substitute(self.site.kept[tree.file].get("mishaps", []), filled)
            models = self._models(MishapModel, data, tree, ("mishaps",), "part")
            ids = [m.id for m in models]
            for field, names in (("only", include.only), ("leave_out", include.leave_out)):
                for i, name in enumerate(names):
                    if name not in ids:
                        self.site.problems.append(
                            self.site.problem(
                                include,
                                f"{field}.{i}",
                                f"The part {include.part} has no mishap {name}.",
                                "a mishap of the part",
                                nearest(name, ids),
                            )
                        )
            for m in models:
                if (not include.only or m.id in include.only) and m.id not in include.leave_out:
                    chosen[m.id] = m
        for m in procedure.mishaps:
            chosen[m.id] = m
        return [
            FlatMishap(m.id, m, tuple(self.steps(m.steps, (), (f"mishap-{m.id}",), ())))
            for m in chosen.values()
        ]

"""A Promela model from a procedure's YAML. Shares nothing with the core, the loader or the plan: it reads the file
as plain YAML and has its own idea of what a step does.

Time is left out: a cycle ends some time after it began; a wet surface completes, or dries where its wait is at hand.
Every state at rest prints one line "S ..." while the checker searches; those lines are the projected states.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

# How far the wipes used last have come: 0 none are left, 1 used, 2 bagged, 3 closed in, 4 wiped, 5 passed out; a change
# of the outer gloves ends it. A step of that role moves them on only from the one before.
_WAY_OUT = {"bag_ready": 1, "waste_closed": 2, "waste_wiped": 3, "waste_passed_out": 4, "outer_glove_change": 5}


@dataclass(frozen=True)
class Facts:
    """The files as plain data."""

    steps: list[dict[str, Any]]
    openings: dict[str, dict[str, Any]]
    cycles: dict[str, dict[str, Any]]
    surfaces: list[str]
    interlocks: list[list[str]]
    options: list[str]


def read(site: Path, procedure: dict[str, Any]) -> Facts:
    """The procedure's data with its enclosure's, off the files."""
    enclosure = next(
        data for path in sorted((site / "enclosures").glob("*.yaml"))
        if (data := load(path))["id"] == procedure["enclosure"]
    )
    wetted = list(dict.fromkeys(s["surface"] for s in procedure["steps"] if s["do"] == "wet"))
    return Facts(
        procedure["steps"], {o["id"]: o for o in enclosure["openings"]}, {c["id"]: c for c in enclosure["cycles"]},
        wetted, enclosure["interlocks"], [o["id"] for o in procedure.get("options", [])],
    )


def load(path: Path) -> dict[str, Any]:
    """One YAML file as plain data."""
    return YAML(typ="safe").load(path.read_text(encoding="utf-8"))


def _condition(cond: dict[str, str]) -> str:
    if "opening" in cond:
        return f"open_{cond['opening']} == {int(cond['is'] == 'open')}"
    if "cycle" in cond:
        return f"cycle_{cond['cycle']} == 2"
    return "true"


class Model:
    """Builds the text."""

    def __init__(self, facts: Facts) -> None:
        self.f = facts
        self.n = len(facts.steps)

    def text(self) -> str:
        f = self.f
        lines = [f"byte done[{self.n}]; byte hands = 0; byte stopping = 0; byte over = 0; byte here = 255; byte waste = 0;"]
        lines += [f"byte open_{o} = 0;" for o in f.openings]
        lines += [f"byte cycle_{c} = 0;" for c in f.cycles]
        lines += [f"byte wet_{s} = 0;" for s in f.surfaces]
        lines += [f"byte option_{o} = 2;" for o in f.options]
        lines += [self._print(), self._next(), "init {", "  rest();", "  do"]
        if f.options:
            for o in f.options:
                lines += [f"  :: atomic {{ option_{o} == 2 -> option_{o} = {v}; rest() }}" for v in (0, 1)]
        ready = " && ".join(["over == 0", "stopping == 0", *(f"option_{o} != 2" for o in f.options)])
        for i, step in enumerate(f.steps):
            lines += [f"  :: atomic {{ {ready} && here == {i} -> {effect} rest() }}" for effect in self._effects(i, step)]
        for c in f.cycles:
            lines.append(f"  :: atomic {{ over == 0 && cycle_{c} == 1 -> cycle_{c} = 2; rest() }}")
        for s in f.surfaces:
            lines.append(f"  :: atomic {{ over == 0 && wet_{s} == 1 -> wet_{s} = 2; rest() }}")
            wets = [i for i, x in enumerate(f.steps) if x["do"] == "wet" and x["surface"] == s]
            later = [i for i, x in enumerate(f.steps) if x.get("role") in _WAY_OUT and wets and i > wets[0]]
            undo = " ".join(f"done[{i}] = 0;" for i in (*wets, *later))
            lines.append(f"  :: atomic {{ over == 0 && stopping == 0 && wet_{s} == 1 -> wet_{s} = 0; {undo} rest() }}")
        lines += [
            "  :: atomic { over == 0 && stopping == 1 -> over = 2; rest() }",
            "  :: atomic { over == 0 && stopping == 1 -> stopping = 0; rest() }",
            "  :: over != 0 -> break", "  od;", "  assert(over != 0)", "}",
        ]
        return "\n".join(lines) + "\n"

    def _effects(self, i: int, step: dict[str, Any]) -> list[str]:
        """What a confirmation, and each other answer that changes something, does."""
        kind, then = step["do"], f"done[{i}] = 1;"
        if kind == "open":
            o = step["opening"]
            conds = [_condition(c) for c in self.f.openings[o].get("opens_when", [])]
            conds += [f"open_{x} == 0" for g in self.f.interlocks if o in g for x in g if x != o]
            conds.append(self._reach(self.f.openings[o]))
            broken = " ".join(
                f"if :: cycle_{c} != 0 -> cycle_{c} = 3 :: else fi;" for c, x in self.f.cycles.items()
                if o in x.get("broken_by_openings", [])
            )
            return [f"assert({' && '.join(conds)}); open_{o} = 1; {broken} {then}"]
        if kind == "close":
            o = step["opening"]
            return [f"assert(open_{o} == 1 && {self._reach(self.f.openings[o])}); open_{o} = 0; {then}"]
        if kind == "cycle":
            return [f"cycle_{step['cycle']} = 1; {then}"]
        if kind == "move":
            return [f"hands = {int(step['hands'] == 'gauntlets')}; {then}"]
        if kind == "wet":
            used = "" if step.get("wipe") == "none" else "waste = 1; "
            return [f"assert(hands == 1); wet_{step['surface']} = 1; {used}{then}"]
        if kind == "wait":
            return []
        if step.get("role") in _WAY_OUT:
            at = _WAY_OUT[step["role"]]
            return [f"if :: waste == {at} -> waste = {(at + 1) % 6} :: else fi; {then}"]
        no = step.get("on_no") or step.get("on_outside") or ""
        return [then, "stopping = 1;"] if no == "stop" else [then]

    def _reach(self, opening: dict[str, Any]) -> str:
        return f"hands == {int(opening.get('reach', 'room') == 'gauntlets')}"

    def _next(self) -> str:
        """Finds the step at hand: waits that are over end by themselves, steps without their option are passed by."""
        lines = ["inline rest() {", "  here = 255;"]
        ready = " && ".join(f"option_{o} != 2" for o in self.f.options) or "true"
        for i, step in enumerate(self.f.steps):
            called = " && ".join(
                f"option_{o} == {int(v in (True, 'yes'))}" for o, v in step.get("when", {}).items()) or "true"
            lines.append(f"  if :: ({ready}) && here == 255 && ({called}) && done[{i}] == 0 ->")
            if step["do"] == "wait":
                over = []
                for name in step["for"]:
                    over.append(f"cycle_{name} == 2" if name in self.f.cycles else f"wet_{name} != 1")
                lines.append(f"    if :: {' && '.join(over)} -> done[{i}] = 1 :: else -> here = {i} fi")
            else:
                lines.append(f"    here = {i}")
            lines.append("  :: else fi;")
        shut = " && ".join(f"open_{o} == 0" for o in self.f.openings)
        still = " && ".join([f"cycle_{c} != 1" for c in self.f.cycles] + [f"wet_{s} != 1" for s in self.f.surfaces])
        lines.append(
            f"  if :: ({ready}) && here == 255 && over == 0 && {still} -> assert({shut}); assert(hands == 0); assert(waste == 0); over = 1 "
            ":: else fi;"
        )
        lines += ["  c_code { show(); }", "}"]
        return "\n".join(lines)

    def _print(self) -> str:
        names = [f"now.done[{i}]" for i in range(self.n)] + ["now.hands", "now.stopping", "now.over"]
        names += [f"now.open_{o}" for o in self.f.openings] + [f"now.cycle_{c}" for c in self.f.cycles]
        names += [f"now.wet_{s}" for s in self.f.surfaces] + [f"now.option_{o}" for o in self.f.options]
        form = " ".join(["%d"] * len(names))
        return f'c_code {{\n#define show() printf("S {form}\\n", {", ".join("(int) " + n for n in names)})\n}};'

"""Runs the core and the naive model side by side on one random session and tells where they differ."""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from assistant.language import vocabulary as w
from assistant.procedure.model import plan as p
from assistant.session import inputs
from assistant.session.facts import contacts, machine, troubles
from assistant.session.lookup import step_of
from assistant.session.order.bridges import SIGN_IN
from assistant.session.state import FINAL_MODES
from tests.session.naive.model import Naive
from tests.session.walk import Walk

SAID = (
    w.NO, w.STARTED, w.REWETTED, w.SKIP, w.CANCEL, w.PAUSE, w.RESUME, w.GO_BACK, w.CORRECTION, w.TROUBLE, w.STOP, w.COMPUTER,
    w.ENCLOSURE, w.REPEAT, w.HOW_LONG, w.BRIEF, w.LOUDER, w.HELP,
)
OUT = {"outer", "inner"}


@dataclass
class Outcome:
    """What both models must agree on."""

    completed: list[tuple[int, str, int]] = field(default_factory=list)
    deviations: list[tuple[int, str, str]] = field(default_factory=list)
    verdict: str = ""
    end: dict[str, object] = field(default_factory=dict)


def core_outcome(walk: Walk) -> Outcome:
    out = Outcome()
    for fact in walk.facts:
        if isinstance(fact, contacts.ContactCompleted):
            out.completed.append((fact.at_ms, fact.surface, fact.due_ms))
        elif isinstance(fact, machine.CycleCompleted):
            out.completed.append((fact.at_ms, fact.cycle, fact.due_ms))
        elif isinstance(fact, troubles.Deviation):
            out.deviations.append((fact.at_ms, fact.code, fact.about))
    s = walk.state
    out.completed.sort()
    out.deviations.sort()
    out.verdict = s.verdict
    out.end = {
        "surfaces": dict(s.surfaces), "openings": dict(s.openings), "hands": s.hands, "machines": dict(s.machines),
        "person": s.person, "done": {x for x in s.main.done if not x.startswith("bridge:")},
        "skipped": set(s.main.skipped), "lines": [f.branch for f in s.frames],
        "cycles": {c: run.status for c, run in s.cycles.items()}, "patches": dict(s.patch_ms),
        "wet": {c.surface: (c.complete_at_ms, c.dries_at_ms) for c in s.contacts.values()},
    }
    return out


def naive_outcome(naive: Naive) -> Outcome:
    return Outcome(
        sorted(naive.completed), sorted(naive.deviations), naive.verdict,
        {
            "surfaces": naive.surfaces, "openings": naive.openings, "hands": naive.hands, "machines": naive.machines,
            "person": naive.person, "done": naive.lines[0]["done"], "skipped": naive.lines[0]["skipped"],
            "lines": [line["branch"] for line in naive.lines],
            "cycles": {c: run["is"] for c, run in naive.cycles.items()}, "patches": naive.patches,
            "wet": {s: (c["until"], c["stroke"] + c["stays"]) for s, c in naive.wet.items()},
        },
    )


class Pair:
    """Both models, given the same."""

    def __init__(self, plan: p.Plan, options: dict[str, bool]) -> None:
        self.core = Walk(plan, options=tuple(options.items()))
        self.naive = Naive(plan, "Ada", options, 0)
        self.script: list[str] = []

    def wait(self, now: int) -> None:
        self.core.at(now)
        self.naive.until(now)

    def crash(self, now: int, why: str) -> None:
        """Nobody watches until `now`."""
        self.script.append(f"{now} recover {why}")
        gone = now - self.core.now
        self.core.now = now
        self.core.give(inputs.Recover(gone, why))
        self.naive.recover(now, why)

    def word(self, word: str, began: int, ended: int) -> None:
        self.script.append(f"{self.core.now} {word} ({began}-{ended})")
        self.core.give(inputs.Word(word, began, ended))
        self.naive.word(word, began, ended)

    def value(self, text: str, began: int) -> None:
        self.script.append(f"{self.core.now} value {text} ({began})")
        self.core.give(inputs.Value(text, began, self.core.now))
        self.naive.value(text, began)

    def witness(self, person: str, statement: str) -> None:
        self.script.append(f"{self.core.now} witness {person}")
        self.core.give(inputs.Witness(person, statement))
        self.naive.witness(person, statement)

    def sign_in(self, person: str) -> None:
        self.script.append(f"{self.core.now} signs in: {person}")
        self.core.give(inputs.SignIn(person))
        self.naive.sign_in(person)

    def differences(self) -> list[str]:
        one, two = core_outcome(self.core), naive_outcome(self.naive)
        found = []
        for name in ("completed", "deviations", "verdict"):
            a, b = getattr(one, name), getattr(two, name)
            if a != b:
                odd = [x for x in a if x not in b], [x for x in b if x not in a]
                found.append(f"{name}: core {odd[0] or a}, naive {odd[1] or b}" if name != "verdict" else f"{a} / {b}")
        found += [f"{k}: core {v}, naive {two.end[k]}" for k, v in one.end.items() if v != two.end[k]]
        return found


def random_session(plan: p.Plan, seed: int, most: int = 160, every: bool = False) -> Pair:
    """One session: mostly somebody who does what is asked, at times anything at all. `every`: compare after every
    input, and stop at the first difference."""
    r = random.Random(seed)
    pair = Pair(plan, {o.id: r.random() < 0.4 for o in plan.options if r.random() < 0.7})
    wild = r.choice((0.02, 0.05, 0.1, 0.3))
    now = 0
    for _ in range(most):
        if pair.core.mode in FINAL_MODES:
            break
        now += r.choice((1, 1, 2, 3, 5, 5, 8, 8, 12, 20, 45)) * 1000 if pair.core.mode != "wait" else 15_000
        if r.random() < wild / 4:
            pair.crash(now + r.choice((0, 10, 60, 600)) * 1000, r.choice(("crash", "suspend")))
            now = pair.core.now
        else:
            pair.wait(now)
            if pair.core.mode in FINAL_MODES:
                break
            if r.random() < wild:
                _anything(pair, r, now)
            else:
                _as_asked(pair, r, now)
        if every and pair.differences():
            break
    return pair


def _span(r: random.Random, now: int) -> tuple[int, int]:
    """When a word understood now began and ended."""
    ended = max(0, now - r.choice((0, 0, 0, 0, 1, 2)) * 1000)
    return max(0, ended - r.choice((0, 0, 0, 1)) * 1000), ended


def _anything(pair: Pair, r: random.Random, now: int) -> None:
    kind = r.random()
    if kind < 0.45:
        pair.word(r.choice(SAID), *_span(r, now))
    elif kind < 0.75:
        known = sorted(set(w.MISHAPS) - ({"fire"} if r.random() < 0.8 else set()))
        pair.word(r.choice(known), *_span(r, now))
    elif kind < 0.85:
        pair.value(r.choice(("1", "2", "9", "-40", "0", "x", "AB1", "2027-01-01", "2020-01-01")), now)
    elif kind < 0.92:
        pair.witness(r.choice(("Ada", "Ben", "")), r.choice(("seen", "")))
    else:
        pair.sign_in(r.choice(("Ada", "Cy")))


def _as_asked(pair: Pair, r: random.Random, now: int) -> None:
    mode, step = pair.core.mode, step_of(pair.core.plan, pair.core.state)
    began, ended = _span(r, now)
    if mode == "value":
        good = {"lot": "AB1", "date": "2027-01-01"}.get(step.value_kind, "-40")
        pair.value(good if r.random() < 0.9 else "2020-01-01", began)
    elif mode == "witness":
        pair.witness("Ben", "seen")
    elif mode == "which":
        if pair.core.state.which:
            pair.value(str(r.randint(1, len(pair.core.state.which))), began)
        else:
            pair.word(r.choice((w.COMPUTER, w.ENCLOSURE)), began, ended)
    elif mode == "paused":
        pair.word(w.RESUME, began, ended)
    elif mode in ("trouble", "stopping"):
        pair.word(w.CANCEL, began, ended)
    elif mode == "step" and step.id == SIGN_IN:
        pair.sign_in("Cy")
    elif mode == "step" and step.kind == p.WET and r.random() < 0.2:
        pair.word(w.STARTED, began, ended)
    elif mode != "wait":
        good = w.REWETTED if mode == "rewet" and r.random() < 0.8 else w.CONFIRM
        pair.word(good if r.random() < 0.93 else w.NO, began, ended)

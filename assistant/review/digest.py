"""What a record says in short: how it ended, what departed from the procedure, what a supervisor must look
at.

Pure: facts in, summary out. Nothing here decides anything; the core did, and wrote it down.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from assistant.procedure.plan import Plan, Step
from assistant.session.bridges import bridge_step, is_bridge
from assistant.session.facts import lines, session, steps, troubles
from assistant.session.facts.base import Fact

MANY_CORRECTIONS = 3  # in one step
LONG_UNWATCHED_MS = 60_000


@dataclass(frozen=True)
class Finding:
    """One thing to look at. `at_ms`: where on the time line, or -1. `weight`: how much it speaks against
    release
    (0: worth knowing only). `kind`: deviation, verdict, skipped, correction, unwatched, quick, values or
    proof."""

    kind: str
    text: str
    at_ms: int = -1
    weight: int = 0
    about: str = ""


@dataclass
class Digest:
    """A session in short."""

    verdict: str = ""
    people: list[str] = field(default_factory=list)
    deviations: int = 0
    corrections: int = 0
    mishaps: int = 0
    skipped: int = 0
    refused_words: int = 0
    words: int = 0
    unwatched_ms: int = 0
    findings: list[Finding] = field(default_factory=list)
    step_ms: dict[str, int] = field(default_factory=dict)
    left_open: tuple[str, ...] = ()
    practice: bool = False

    @property
    def weight(self) -> int:
        """For sorting: the worst first."""
        return sum(f.weight for f in self.findings)

    @property
    def reasons(self) -> list[str]:
        """The findings that speak against release, heaviest first, as sentences; what was said twice once."""
        counts = Counter(f.text for f in sorted(self.findings, key=lambda f: -f.weight) if f.weight)
        return [text if count == 1 else f"{text} ({count} times)" for text, count in counts.items()]


def digest(facts: Sequence[Fact], plan: Plan | None, kind: str = "live") -> Digest:
    """Read all facts once. Names come from the plan where there is one, else ids are shown."""
    found = Digest(practice=kind != "live")
    corrected: Counter[str] = Counter()
    where: dict[str, int] = {}
    skipped: dict[str, int] = {}
    for fact in facts:
        if isinstance(fact, session.SessionBegun):
            _person(found, fact.person)
        elif isinstance(fact, session.PersonChanged):
            _person(found, fact.person)
        elif isinstance(fact, lines.Heard):
            found.words += 1
            found.refused_words += not fact.accepted
        elif isinstance(fact, troubles.Deviation):
            found.deviations += 1
            if fact.code in ("mishap", "skipped"):
                continue  # the branch entered, or the step left out, says more
            found.findings.append(Finding("deviation", fact.text, fact.at_ms, 12, fact.about))
        elif isinstance(fact, troubles.BranchEntered):
            found.mishaps += 1
            found.findings.append(Finding("mishap", _mishap(plan, fact), fact.at_ms, 12, fact.mishap))
        elif isinstance(fact, steps.CorrectionMade):
            found.corrections += 1
            corrected[fact.step] += 1
            where[fact.step] = fact.at_ms
        elif isinstance(fact, steps.StepSkipped):
            skipped[fact.step] = fact.at_ms
        elif isinstance(fact, steps.StepConfirmed):
            skipped.pop(fact.step, None)
            if not fact.branch:
                found.step_ms[fact.step] = fact.took_ms
            if fact.quick:
                found.findings.append(
                    Finding(
                        "quick",
                        f"Confirmed quicker than plausible: {step_name(plan, fact.step)}.",
                        fact.at_ms,
                        4,
                        fact.step,
                    )
                )
        elif isinstance(fact, steps.ValueAccepted) and not fact.inside_limits:
            found.findings.append(
                Finding(
                    "values",
                    f"Outside its limits: {step_name(plan, fact.step)}, {fact.value} {fact.unit}.".replace(
                        " .", "."
                    ),
                    fact.at_ms,
                    4,
                    fact.step,
                )
            )
        elif isinstance(fact, troubles.Recovered):
            found.unwatched_ms += fact.unwatched_ms
            heavy = 8 if fact.unwatched_ms >= LONG_UNWATCHED_MS else 3
            found.findings.append(
                Finding(
                    "unwatched",
                    f"{span_words(fact.unwatched_ms)} with nobody watching ({fact.why}).",
                    fact.at_ms,
                    heavy,
                )
            )
        elif isinstance(fact, session.VerdictReached):
            found.verdict, found.left_open = fact.verdict, fact.left_open
    for step, at_ms in skipped.items():
        found.skipped += 1
        found.findings.append(Finding("skipped", f"Skipped: {step_name(plan, step)}.", at_ms, 10, step))
    for step, times in corrected.items():
        heavy = 6 if times >= MANY_CORRECTIONS else 1
        count = "1 correction" if times == 1 else f"{times} corrections in one step"
        found.findings.append(
            Finding("correction", f"{count}: {step_name(plan, step)}.", where[step], heavy, step)
        )
    found.findings.sort(key=lambda f: f.at_ms)
    if found.verdict != "complete":
        found.findings.insert(0, Finding("verdict", _verdict_text(found), -1, 20 if found.verdict else 25))
    return found


def _person(found: Digest, name: str) -> None:
    if name not in found.people:
        found.people.append(name)


def _verdict_text(found: Digest) -> str:
    return {
        "incomplete": "The clean is incomplete.",
        "stopped": "The clean was stopped.",
        "left": "The enclosure was left before the end.",
        "": "The session has no verdict: it ended without one.",
    }.get(found.verdict, "The clean did not end complete.")


def _mishap(plan: Plan | None, fact: troubles.BranchEntered) -> str:
    mishap = plan.mishaps.get(fact.mishap) if plan else None
    title = mishap.title if mishap else fact.mishap
    place = f" ({surface_name(plan, fact.surface)})" if fact.surface else ""
    return f"Mishap: {title}{place}."


def step_name(plan: Plan | None, step_id: str) -> str:
    """A short name for a step: what it wets, opens, or waits for, else its first words."""
    if plan is None:
        return step_id
    step = find_step(plan, step_id)
    if step is None:
        return step_id
    if step.surface:
        return f"{surface_name(plan, step.surface)}, {step.agent_name or step.agent}"
    text = (step.say or step.brief or step.id).split(". ")[0].rstrip(".?")
    return text if len(text) <= 64 else text[:61].rstrip() + "..."


def find_step(plan: Plan | None, step_id: str) -> Step | None:
    """A step of the plan, or one that the core put in by itself; None for an id that is neither."""
    try:
        if plan is None:
            return None
        return bridge_step(plan, step_id) if is_bridge(step_id) else plan.step(step_id)
    except (KeyError, ValueError):
        return None


def surface_name(plan: Plan | None, surface: str) -> str:
    """The spoken name, or the id."""
    known = plan.surfaces.get(surface) if plan else None
    return known.name if known else surface.replace("_", " ")


def opening_name(plan: Plan | None, opening: str) -> str:
    """The spoken name, or the id."""
    known = plan.openings.get(opening) if plan else None
    return known.name if known else opening.replace("_", " ")


def cycle_name(plan: Plan | None, cycle: str) -> str:
    """The spoken name, or the id."""
    known = plan.cycles.get(cycle) if plan else None
    return known.name if known else cycle.replace("_", " ")


def left_open_words(plan: Plan | None, item: str) -> str:
    """An entry of `left_open` ("step:x") in words."""
    kind, _, name = item.partition(":")
    named = {
        "step": step_name,
        "contact": surface_name,
        "surface": surface_name,
        "cycle": cycle_name,
        "opening": opening_name,
    }.get(kind)
    if named is None:
        return item
    text = {
        "step": "not done",
        "contact": "contact still running",
        "surface": "spoiled and not done again",
        "cycle": "still running",
        "opening": "not left as it must be",
    }[kind]
    return f"{named(plan, name)}: {text}"


def span_words(ms: int) -> str:
    """A length of time in words: 45 s, 3 min 5 s, 2 h 10 min."""
    s = max(0, round(ms / 1000))
    if s < 60:
        return f"{s} s"
    if s < 3600:
        return f"{s // 60} min {s % 60} s" if s % 60 and s < 600 else f"{round(s / 60)} min"
    return f"{s // 3600} h {s % 3600 // 60} min" if s % 3600 // 60 else f"{s // 3600} h"

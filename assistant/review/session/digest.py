"""What a record says in short: how it ended, what departed from the procedure, what a supervisor must look
at.

Pure: facts in, summary out. Nothing here decides anything; the core did, and wrote it down.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from assistant.account.names import step_name
from assistant.account.telling import tell
from assistant.account.times import span_words
from assistant.procedure.model.plan import Plan
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
            found.findings.append(Finding("mishap", f"{tell(plan, fact).text}.", fact.at_ms, 12, fact.mishap))
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

"""What a practice session shows, measured against what was asked; never a number alone.

From the facts of the record and, for what no record can know, from the simulated enclosure's own log: which claims
weren't true, what dirt was carried, when each mishap happened.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from assistant.language import vocabulary as w
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.oracle.judge import Oracle
from assistant.practice.oracle.ledger import DRYING, FALSE_CLAIM, MISPLACED
from assistant.practice.oracle.moments import step_text, untrue_text
from assistant.procedure.model.plan import CHECK, READING, WET, Plan
from assistant.session.lookup import said_as

ORDER, WAITS, WORDS, CLAIMS, MISHAPS, CORRECTIONS, HYGIENE, RECALL = (
    "order", "waits", "words", "claims", "mishaps", "corrections", "hygiene", "recall",
)
# Points off per occasion. What harms a clean weighs most; what only costs time weighs least. Common practice, no
# source; measured against personas with known error rates by `assistant measure practice`.
WEIGHTS = {ORDER: 2.0, WAITS: 6.0, WORDS: 0.4, CLAIMS: 8.0, MISHAPS: 6.0, CORRECTIONS: 1.0, HYGIENE: 4.0, RECALL: 2.0}
SLOW_REACTION_MS = 15_000  # to the right first word. Common practice, no source.
_WORST_FIRST = (CLAIMS, WAITS, MISHAPS, HYGIENE, ORDER, RECALL, CORRECTIONS, WORDS)


@dataclass(frozen=True, slots=True)
class Moment:
    """One occasion: when on the session's clock, what about (step, surface or mishap), in plain words."""

    at_ms: int
    about: str
    text: str


@dataclass(frozen=True, slots=True)
class Part:
    """One thing measured. `measured` and `against` are sentences; `points_off` what the occasions cost."""

    name: str
    measured: str
    against: str
    points_off: float
    moments: tuple[Moment, ...]


@dataclass(frozen=True, slots=True)
class MishapLog:
    """A mishap on cue: when it happened, and what it was."""

    word: str
    at_ms: int
    surface: str = ""


@dataclass(slots=True)
class EnclosureLog:
    """What only the simulated enclosure knows of a session."""

    untrue: list[Moment] = field(default_factory=list)
    carried: list[str] = field(default_factory=list)
    breaches: list[tuple[int, str]] = field(default_factory=list)
    mishaps: list[MishapLog] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Score:
    """`total`: 100 less every part's points, not below 0. `better`: at most three things, each with its moment."""

    total: float
    parts: tuple[Part, ...]
    better: tuple[Moment, ...]
    critical: tuple[Moment, ...]
    reactions_ms: dict[str, int]

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


def enclosure_log(oracle: Oracle, world: EnclosureSim, mishaps: Sequence[MishapLog]) -> EnclosureLog:
    """The log of a session that was judged by an oracle."""
    untrue = [
        Moment(f.at_ms, f.what.split(" was ")[0], untrue_text(world.plan, f.what)) for f in oracle.findings
        if f.kind in (FALSE_CLAIM, MISPLACED, DRYING)
    ]
    carried = [f"dirt was carried to the {world.plan.surfaces[s].name}" for s, now in world.surfaces.items() if now.carried]
    return EnclosureLog(untrue, carried, list(world.breaches), list(mishaps))


def score(plan: Plan, facts: Iterable[Any], log: EnclosureLog) -> Score:
    """The explained score of one session."""
    facts = list(facts)
    end_ms = facts[-1].at_ms if facts else 0
    confirmed = sum(f.KIND == "step_confirmed" for f in facts) or 1
    reactions, late = _reactions(facts, log.mishaps)
    found = {
        ORDER: _order(plan, facts),
        WAITS: _waits(facts),
        WORDS: _words(facts),
        CLAIMS: [*log.untrue, *_quick(plan, facts)],
        MISHAPS: late,
        CORRECTIONS: [Moment(f.at_ms, f.step, "a confirmation was taken back") for f in facts if f.KIND == "correction_made"],
        HYGIENE: [Moment(end_ms, text.rsplit("the ", 1)[-1], text) for text in log.carried]
        + [Moment(at, what, f"an interlock would have been broken: {what}") for at, what in log.breaches],
    }
    asked = [f for f in facts if f.KIND == "next_recalled"]
    if asked:
        found[RECALL] = [
            Moment(f.at_ms, f.step, f"the next step wasn't known: {f.choices[f.right - 1]}") for f in asked if f.chosen != f.right
        ]
    of = {MISHAPS: (len(log.mishaps), "mishap"), RECALL: (len(asked), "question")}
    parts = tuple(_part(name, found[name], *of.get(name, (confirmed, "confirmation"))) for name in found)
    critical = tuple(m for name in (CLAIMS, HYGIENE) for m in found[name]) + tuple(
        m for m in late if "never" in m.text
    )
    off = sum(part.points_off for part in parts)
    return Score(round(max(0.0, 100.0 - off), 1), parts, _better(found), critical, reactions)


_AGAINST = {
    ORDER: "no word that doesn't fit, no step left out", WAITS: "every re-wet and limit in time",
    WORDS: "every utterance a command, after the assistant has finished", CLAIMS: "every confirmation true when it was said",
    MISHAPS: f"named first, within {SLOW_REACTION_MS // 1000} s of each", CORRECTIONS: "none needed; owning up costs least",
    HYGIENE: "a fresh face or wipe whenever one is asked for, doors one at a time",
    RECALL: "the next step known before it is told",
}


def _part(name: str, moments: list[Moment], count: int, what: str) -> Part:
    measured = f"{len(moments) or 'none'} in {count} {what}{'' if count == 1 else 's'}" if count else f"no {what} came"
    return Part(name, measured, _AGAINST[name], round(WEIGHTS[name] * len(moments), 1), tuple(moments))


def _order(plan: Plan, facts: list[Any]) -> list[Moment]:
    out = [Moment(f.at_ms, f.word, f"'{said_as(plan, f.word)}' didn't fit there") for f in facts if f.KIND == "not_now"]
    return out + [Moment(f.at_ms, f.step, f"left out: {step_text(plan, f.step)}") for f in facts if f.KIND == "step_skipped"]


def _waits(facts: list[Any]) -> list[Moment]:
    codes = ("dried_contact", "dried_wetting", "limit_opening_missed", "limit_step_missed")
    return [Moment(f.at_ms, f.about, f.text) for f in facts if f.KIND == "deviation" and f.code in codes]


def _words(facts: list[Any]) -> list[Moment]:
    return [
        Moment(f.at_ms, f.word or f.said, f"'{f.said or f.word}' wasn't taken: {f.reason}") for f in facts
        if f.KIND == "heard" and not f.accepted and f.reason != "not now"
    ]


def _quick(plan: Plan, facts: list[Any]) -> list[Moment]:
    return [Moment(f.at_ms, f.step, f"confirmed sooner than it can be done: {step_text(plan, f.step)}") for f in facts if f.KIND == "claim_questioned"]


def _reactions(facts: list[Any], mishaps: Sequence[MishapLog]) -> tuple[dict[str, int], list[Moment]]:
    """Milliseconds from each mishap to its name being heard, and the occasions that were late or never came."""
    took: dict[str, int] = {}
    late: list[Moment] = []
    for mishap in mishaps:
        at = next((f.at_ms for f in facts if f.KIND == "heard" and f.accepted and f.word == mishap.word
                   and f.at_ms >= mishap.at_ms), None)
        title = mishap.word.replace("_", " ")
        if at is None:
            late.append(Moment(mishap.at_ms, mishap.word, f"{title} was never said"))
            continue
        took[mishap.word] = at - mishap.at_ms
        first = next((
            f for f in facts if f.KIND == "heard" and f.accepted and f.word not in w.HARMLESS
            and mishap.at_ms <= f.started_ms
        ), None)
        if first is not None and first.at_ms < at and first.word not in (mishap.word, w.TROUBLE, w.STOP):
            said = first.word.replace("_", " ") or first.value
            late.append(Moment(first.at_ms, mishap.word, f"at {title} the first thing done was to say {said}"))
        if at - mishap.at_ms > SLOW_REACTION_MS:
            late.append(Moment(mishap.at_ms, mishap.word, f"{title} was said {(at - mishap.at_ms) // 1000} s later"))
    return took, late


def _better(found: dict[str, list[Moment]]) -> tuple[Moment, ...]:
    """The three things to do better: the costliest kinds first, one moment of each, then more of the worst."""
    ranked = sorted((n for n in found if found[n]), key=lambda n: (-WEIGHTS[n] * len(found[n]), _WORST_FIRST.index(n)))
    out = [found[name][0] for name in ranked[:3]]
    for name in ranked:
        for moment in found[name][1:]:
            if len(out) >= 3:
                return tuple(out)
            out.append(moment)
    return tuple(out)


def items_of(plan: Plan, facts: Iterable[Any], scored: Score) -> dict[str, str]:
    """What this session tells about each step and mishap: item -> "again", "hard" or "good". Items are
    "step:<id>" for steps that are more than a word, and "mishap:<word>"."""
    wrong = {m.about for part in scored.parts for m in part.moments}
    out: dict[str, str] = {}
    kinds = {s.id: s for s in plan.steps if s.kind in (WET, CHECK, READING)}
    for fact in facts:
        if fact.KIND == "step_confirmed" and fact.step in kinds:
            step = kinds[fact.step]
            bad = fact.step in wrong or (step.surface and step.surface in wrong)
            out[f"step:{fact.step}"] = "again" if bad else "good"
    for word, took in scored.reactions_ms.items():
        out[f"mishap:{word}"] = "hard" if took > SLOW_REACTION_MS else "good"
    for moment in scored.parts[4].moments:
        if "never" in moment.text:
            out[f"mishap:{moment.about}"] = "again"
    return out

"""Everything decided again from what came in, and compared fact by fact: is a record what this core would have written?"""

from __future__ import annotations

from assistant.account.reading import OpenedSession
from assistant.language import vocabulary as words
from assistant.record.reader import Record
from assistant.session import decide, evolve, initial
from assistant.session import inputs as i
from assistant.session.facts import lines, practice, session, steps, troubles
from assistant.session.facts.base import Fact
from assistant.session.rules import RULES_VERSION


def rederive(opened: OpenedSession) -> list[str]:
    """Decide everything again from what came in, and compare fact by fact. Returns problems in words; empty means
    the record is what this core would have written. Only for records of this version of the rules.

    A decision may be cut short only where writing was: at the end of an open record, or before a recovery, be it the
    seal alone that follows."""
    if opened.record.rules != RULES_VERSION:
        return []
    plan, state, at = opened.plan, initial(opened.plan), 0
    facts = opened.facts
    ends_cut = opened.record.seal is None or _recovered_last(opened.record)
    while at < len(facts):
        now = facts[at].at_ms
        for given in _candidates(facts, at, opened):
            again = decide(plan, state, given, now)
            if again and facts[at : at + len(again)] == again:
                break
            left = _until_cut(facts, at, ends_cut)
            if 0 < left < len(again) and facts[at : at + left] == again[:left]:
                again = again[:left]
                break
        else:
            return [f"fact {at + 1} ({facts[at].KIND}, {now} ms) doesn't follow from what came before"]
        for fact in again:
            state = evolve(state, fact)
        at += len(again)
    return []


def _recovered_last(record: Record) -> bool:
    """Whether writing was cut off after the core's last fact: nothing of it follows the recovery but the seal."""
    last = max((line.seq for line, _ in record.facts() if not line.own), default=0)
    return any(line.kind == "record_recovered" and line.seq > last for line in record.lines)


def _until_cut(facts: tuple[Fact, ...], at: int, ends_cut: bool) -> int:
    """How many facts there are from `at` on before writing was cut off, or 0 where it wasn't. Facts of one decision
    share a moment, so no further than that is looked."""
    for index in range(at, len(facts)):
        fact = facts[index]
        if isinstance(fact, troubles.Recovered) and fact.why == "crash":
            return index - at
        if fact.at_ms != facts[at].at_ms:
            return 0
    return len(facts) - at if ends_cut else 0


def _candidates(facts: tuple[Fact, ...], at: int, opened: OpenedSession) -> list[i.Input]:
    """What can have come in to give the facts from `at` on: the first fact of the moment that tells of an input,
    or nothing but time."""
    now = facts[at].at_ms
    found: list[i.Input] = []
    for index in range(at, len(facts)):
        fact = facts[index]
        if fact.at_ms != now:
            break
        given = _inputs_of(fact, facts, index)
        if given:
            found += given
            break
    found.append(i.Tick())
    # A statement that changed nothing at once, or several inputs in one millisecond: time first, then the input.
    return found


def _inputs_of(fact: Fact, facts: tuple[Fact, ...], index: int) -> list[i.Input]:
    """What a fact can tell of. A refused word may have been refused by the listener or by the core."""
    if isinstance(fact, lines.Heard) and not fact.accepted:
        common = (
            fact.started_ms, fact.ended_ms, fact.source, fact.said, fact.confidence_pm, fact.scores, fact.clip_sha256,
        )
        by_listener = i.Misheard(fact.reason, fact.word, *common)
        if fact.value:
            return [i.Value(fact.value, *common)]
        return [i.Word(fact.word, *common), by_listener] if fact.word in words.ALL else [by_listener]
    given = _input_of(fact, facts, index)
    return [given] if given is not None else []


def _input_of(fact: Fact, facts: tuple[Fact, ...], index: int) -> i.Input | None:
    if isinstance(fact, session.SessionBegun):
        preset = tuple(
            (f.option, f.value)
            for f in facts[index:]
            if f.at_ms == fact.at_ms and isinstance(f, session.OptionAnswered) and f.given == "preset"
        )
        return i.Begin(fact.person, fact.kind, fact.voice, fact.brief, preset)
    if isinstance(fact, lines.Heard):
        common = (
            fact.started_ms, fact.ended_ms, fact.source, fact.said, fact.confidence_pm, fact.scores, fact.clip_sha256,
        )
        return i.Value(fact.value, *common) if fact.value else i.Word(fact.word, *common)
    if isinstance(fact, lines.LineEnded):
        return i.LineDone(fact.line, fact.started_ms, fact.ended_ms, fact.interrupted)
    if isinstance(fact, steps.WitnessGiven):
        return i.Witness(fact.person, fact.statement)
    if isinstance(fact, lines.NotNow) and fact.word == "witness":
        return i.Witness("", "")  # a refused statement: whose it was isn't kept, and one of nobody is refused alike
    if isinstance(fact, session.PersonChanged):
        return i.SignIn(fact.person)
    if isinstance(fact, troubles.DeviceLost):
        return i.Lost(fact.device, fact.detail)
    if isinstance(fact, troubles.DeviceBack):
        return i.Back(fact.device)
    if isinstance(fact, troubles.ClockStepped):
        return i.ClockStep(fact.step_ms)
    if isinstance(fact, troubles.SoundGap):
        return i.Gap(fact.gap_ms, fact.detail)
    if isinstance(fact, troubles.Recovered):
        return i.Recover(fact.unwatched_ms, fact.why)
    if isinstance(fact, practice.NextRecalled):
        return i.Recalled(fact.step, fact.choices, fact.right, fact.chosen)
    return None

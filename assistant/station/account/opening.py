"""Open a finished or broken record again: its plan, its facts, and the state they fold to."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from assistant.errors import RecordError
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import Loaded, load_procedure
from assistant.procedure.model.plan import Plan
from assistant.record.reader import Record, read_record
from assistant.session import decide, evolve, initial
from assistant.session import inputs as i
from assistant.session.asking.wording import LANGUAGES
from assistant.session.facts import lines, practice, session, steps, troubles
from assistant.session.facts.base import Fact
from assistant.session.rules import RULES_VERSION
from assistant.session.state import State
from assistant.session.wire import from_wire
from assistant.session.words import vocabulary as words
from assistant.station.loop.site_copy import FOLDER


@dataclass(frozen=True, slots=True)
class OpenedSession:
    """A record with its plan and facts, in order, before any folding."""

    record: Record
    plan: Plan
    facts: tuple[Fact, ...]

    def state(self) -> State:
        """Where the session stood at the end of the record."""
        state = initial(self.plan)
        for number, fact in enumerate(self.facts, 1):
            state = folded(state, fact, number)
        return state


def folded(state: State, fact: Fact, number: int) -> State:
    """As `evolve`. Raises RecordError where the `number`-th fact can't follow: such a record was made otherwise, or
    changed."""
    try:
        return evolve(state, fact)
    except (ValueError, KeyError, IndexError, TypeError, AttributeError) as error:
        raise RecordError(
            f"Fact {number} ({fact.KIND}) can't follow from those before it.",
            try_next="assistant verify shows what still holds",
        ) from error


def load_session(path: Path | str) -> OpenedSession:
    """Read a record and everything needed to fold it. Raises RecordError, SiteFileError."""
    record = read_record(path)
    if not record.lines:
        raise RecordError(
            "The record holds no whole line.", where=str(path), expected="a session folder, or its record.jsonl",
            try_next="name another; if this should be a record, run assistant verify on it, and keep a copy",
        )
    return OpenedSession(record, plan_of(record), tuple(facts_of(record)))


def loaded_of(record: Record) -> Loaded:
    """The site's files as they were on the day. Raises RecordError where they aren't beside the record or the
    record's first line doesn't name them, SiteFileError where they can't be read."""
    folder = record.folder
    if folder is None or not (folder / FOLDER).is_dir():
        raise RecordError(
            "The site's files aren't beside the record.", where=str(folder or ""),
            expected=f"a folder {FOLDER}/ with the procedure as it was",
            try_next="put the session's whole folder back together; assistant verify still works without it",
        )
    return load_procedure(_told(record, "procedure", "id"), folder / FOLDER)


def plan_of(record: Record) -> Plan:
    """The plan as it was on the day, from the files beside the record. Raises RecordError when they changed."""
    loaded = loaded_of(record)
    told = record.header
    language, vocabulary, today = told.get("language", "en"), told.get("vocabulary", {}), told.get("today", "")
    if language not in LANGUAGES or not isinstance(today, str) or not isinstance(vocabulary, dict):
        raise RecordError("The record's first line isn't one this program writes.", where=str(record.folder))
    plan = compile_plan(loaded, language)
    digest = _told(record, "procedure", "sha256")
    if plan.sha256 != digest:
        raise RecordError(
            "The site's files beside the record aren't the ones the session was run with.",
            where=str(record.folder), expected=f"procedure content {digest[:16]}...",
        )
    told = told.get("told_first", [])
    if not isinstance(told, list) or not all(isinstance(text, str) for text in told):
        raise RecordError("The record's first line isn't one this program writes.", where=str(record.folder))
    return told_first(dressed(plan, vocabulary, today), told)


def _told(record: Record, part: str, name: str) -> str:
    """A text of the record's first line; a hostile one may hold anything."""
    found = record.header.get(part)
    value = found.get(name) if isinstance(found, dict) else None
    if not isinstance(value, str):
        raise RecordError(f"The record's first line names no {part} {name}.", where=str(record.folder or ""))
    return value


def told_first(plan: Plan, texts: list[str]) -> Plan:
    """The plan with sentences to be said before its own cautions: what is overdue here."""
    return replace(plan, cautions=(*texts, *plan.cautions)) if texts else plan


def dressed(plan: Plan, vocabulary: dict[str, list[str]], today: str) -> Plan:
    """The plan with what only the day knows: how commands are said, and the date."""
    spoken = {
        word: str(forms[0]) for word, forms in vocabulary.items() if isinstance(forms, list) and forms and word in words.ALL
    }
    return replace(plan, spoken=spoken, today=today)


def facts_of(record: Record) -> list[Fact]:
    """The core's facts, in order; lines of the record room itself are left out. Raises RecordError."""
    found = []
    for line, fact in record.facts():
        if line.own:
            continue
        try:
            found.append(from_wire(fact["kind"], fact["v"], fact["data"], line.t_ms))
        except ValueError as error:
            raise RecordError(
                f"Line {line.seq} can't be read: {error}.", where=str(record.folder or ""),
                try_next="assistant verify shows what still holds",
            ) from error
    return found


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

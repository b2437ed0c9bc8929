"""`assistant practice`: drills without an enclosure, marked as practice in every line of their record."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from assistant.errors import ReplayMismatchError, SoundDeviceError, UsageError
from assistant.practice.enclosure import schematic
from assistant.practice.enclosure.disturbances import COMPUTER, KINDS
from assistant.practice.enclosure.drills import not_reached
from assistant.practice.evidence.command import evidence_folder, show_evidence
from assistant.practice.evidence.refresh import Refresh
from assistant.practice.evidence.report import report
from assistant.practice.evidence.signoff import Tracer, TraineeFile, readiness
from assistant.practice.evidence.site_rule import site_rule
from assistant.practice.operator.persona import load_persona, persona_names
from assistant.practice.session_run import Practised, Wanted, keep_evidence, run_practice
from assistant.practice.trainee.drill_report import drill_the_words
from assistant.practice.trainee.folder import shared_folder, trainee_folder
from assistant.practice.trainee.headset import run_at_headset
from assistant.practice.trainee.hints import Hints, at_steps
from assistant.practice.trainee.levels import LED, LEVELS, check_compression, level
from assistant.practice.trainee.typed import TypedTrainee, read_lines, real_pace
from assistant.procedure.model.plan import Plan
from assistant.session.facts.base import Fact
from assistant.session.state import State
from assistant.station.account.json_out import print_json
from assistant.station.live.parts import LiveChoices
from assistant.station.live.setup import Prepared, prepare
from assistant.station.loop.clock import DEMO_EPOCH
from assistant.station.loop.screen import open_screen

TYPE_IT = (
    "Type what you would say, then Enter: affirmative, repeat, stop. Write numbers, lots and dates as you see them. Take as "
    "long over a wipe as it would take: only waits pass quicker. Type quit to end."
)


@click.command("practice")
@click.argument("procedure", required=False)
@click.option("--trainee", default="trainee", show_default=True, help="Whose evidence this is.")
@click.option("--level", "level_name", type=click.Choice(LEVELS), default=LED, show_default=True)
@click.option("--persona", help="Show me one: a virtual operator does it. One of: " + ", ".join(persona_names()) + ".")
@click.option("--mishaps", type=click.IntRange(0, 20), default=0, show_default=True, help="How many things go wrong.")
@click.option("--mishap", "words", multiple=True, metavar="NAME[@STEP]", help="This mishap, such as torn_glove, at a wiping step or at STEP; repeat for several.")
@click.option("--list-mishaps", is_flag=True, help="Show what can go wrong in PROCEDURE.")
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="The same number, the same drill.")
@click.option("--factor", type=float, default=10.0, show_default=True, help="How many times faster waits pass; 1: true waits.")
@click.option("--option", "answers", multiple=True, metavar="NAME=yes|no", help="Answer a question of the start.")
@click.option("--records", type=click.Path(path_type=Path), help="Folder for the record.")
@click.option("--evidence", "evidence_of", metavar="NAME", help="Show the evidence of one trainee for the supervisor.")
@click.option("--evidence-folder", "evidence", type=click.Path(path_type=Path), help="Folder for trainees' evidence.")
@click.option("--disturb", multiple=True, type=click.Choice(KINDS), help="Something from outside as well; repeat for several.")
@click.option("--typed", "by_keys", is_flag=True, help="Type instead of speaking, even where there is a headset.")
@click.option("--microphone", help="Input device, by number or name (assistant devices).")
@click.option("--headset", help="Output device, by number or name.")
@click.option("--keys", is_flag=True, help="At a headset: foot switch or keyboard as well.")
@click.option("--profile", metavar="NAME", help="Hearing profile to use; else the trainee's own where there is one.")
@click.option("--drawing", type=click.Path(path_type=Path), help="Write the enclosure as it is at the end, as SVG.")
@click.option("--session-id", default="", help="With --stamp and --epoch: the same bytes again.")
@click.option("--stamp", default="", help="Such as 20260314T091500Z.")
@click.option("--epoch", type=click.DateTime(["%Y-%m-%dT%H:%M:%S"]), help="What the record's clock starts from, in UTC.")
@click.option("--ready", is_flag=True, help="Show what is missing until this trainee can be signed off.")
@click.option("--rule", type=click.Path(path_type=Path), help="The rule for signing off. Default: sign_off.yaml in the evidence folder, or the one that comes with the program.")
@click.option("--tracer", nargs=2, metavar="OBSERVER passed|failed", help="Book a wipe with a visible tracer.")
@click.option("--due", is_flag=True, help="Show what is due to be refreshed.")
@click.option("--words-drill", is_flag=True, help="Say each command word; with --persona, that voice says them.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def practice(
    procedure: str | None, trainee: str, level_name: str, persona: str | None, mishaps: int, words: tuple[str, ...],
    seed: int, factor: float, answers: tuple[str, ...], records: Path | None, evidence: Path | None,
    drawing: Path | None, session_id: str, stamp: str, epoch: datetime | None, ready: bool, rule: Path | None,
    tracer: tuple[str, str] | None, due: bool, words_drill: bool, as_json: bool, evidence_of: str | None,
    disturb: tuple[str, ...], by_keys: bool, microphone: str | None, headset: str | None,
    profile: str | None, keys: bool, list_mishaps: bool,
) -> int:
    """Practise PROCEDURE by voice at a headset; without one, type what you would say; or let a persona show it.

    Nothing of it can pass for work.
    """
    trainee = evidence_of or trainee
    file = TraineeFile(trainee_folder(evidence_folder(evidence), trainee))
    shared = shared_folder(file.folder.parent, trainee)
    if shared is not None:
        click.echo(f"{shared} holds practice of {trainee} and of somebody else, so it counts for nobody.", err=True)
    now = datetime.now(UTC)
    if tracer:
        _book_tracer(trainee, file, tracer, now)
    if evidence_of:
        return show_evidence(trainee, file, rule, now, as_json)
    if ready:
        return _show_ready(trainee, file, rule, now, as_json)
    if due:
        return _show_due(file, now, as_json)
    if words_drill:
        return drill_the_words(trainee, persona, microphone, as_json)
    if tracer and not procedure:
        return 0
    if not procedure:
        raise UsageError("Which procedure?", try_next="assistant practice gb-2-light-clean")
    prepared = prepare(procedure, today=now.date().isoformat() if not session_id else "")
    if list_mishaps:
        return _list_mishaps(prepared.plan, as_json)
    check_compression(prepared.plan, factor)
    wanted = Wanted(
        trainee, level_name, seed, factor, mishaps, words, Refresh.load(file.folder / "refresh.json").weights(now),
        _answers(prepared.plan, answers), disturb, records, lambda text: click.echo(text, err=as_json), stamp, session_id,
        epoch.replace(tzinfo=UTC) if epoch else DEMO_EPOCH,
    )
    at_headset = None if persona or by_keys else LiveChoices(
        microphone=microphone, headset=headset, profile=profile, with_keys=keys,
    )
    done = _practise(prepared, wanted, as_json, persona, at_headset)
    if not persona:
        keep_evidence(file, done, prepared.plan, at=now, true_waits=factor == 1.0)
    if drawing:
        drawing.write_text(schematic.svg(done.world, done.ended_ms), encoding="utf-8")
    for why in not_reached(done.drills, [(m.at_ms, m.word) for m in done.log.mishaps]):
        click.echo(f"  {why}", err=True)
    report(done, as_json)
    if done.problems:
        raise ReplayMismatchError("The record doesn't replay to the same end: " + "; ".join(done.problems), where=str(done.folder))
    return 0


def _book_tracer(trainee: str, file: TraineeFile, tracer: tuple[str, str], now: datetime) -> None:
    """Raises UsageError where the wipe has neither passed nor failed."""
    observer, how = tracer
    if how not in ("passed", "failed"):
        raise UsageError(f"A tracer wipe has passed or failed, not '{how}'.")
    file.add_tracer(Tracer(observer, now.date().isoformat(), how == "passed"))
    click.echo(f"Booked: {observer} saw {trainee}'s wipe with a tracer, {how}.", err=True)


def _practise(
    prepared: Prepared, wanted: Wanted, as_json: bool, persona: str | None, at_headset: LiveChoices | None,
) -> Practised:
    """By voice where devices were named or somebody sits there, and a headset is found; else typed, or by a persona."""
    screen = open_screen(prepared.plan, "PRACTICE", out=sys.stderr if as_json else sys.stdout, plain=True)
    done = None
    if at_headset and (at_headset.microphone or at_headset.headset or sys.stdin.isatty()):
        done = _by_voice(prepared, screen, wanted, as_json, at_headset)
    return done or _without_sound(prepared, screen, wanted, as_json, persona)


def _by_voice(prepared: Prepared, screen: Any, wanted: Wanted, as_json: bool, chosen: LiveChoices) -> Practised | None:
    """At the headset; None where there is none, so that keys have to do."""
    if COMPUTER in wanted.disturb:
        raise UsageError("A power cut of the computer can't be practised at a headset.", try_next="--typed")
    hints = Hints(prepared.plan, wanted.level_name, wanted.seed, as_json, None, True)
    try:
        return run_at_headset(prepared, screen, wanted, chosen=chosen, on_world=hints.world, on_shown=hints.facts)
    except SoundDeviceError as error:
        if chosen.microphone or chosen.headset:
            raise
        click.echo(f"{error.what} Type what you would say instead.", err=True)
        return None


def _without_sound(
    prepared: Prepared, screen: Any, wanted: Wanted, as_json: bool, persona: str | None,
) -> Practised:
    lines = None if persona else read_lines(sys.stdin)
    hints = Hints(prepared.plan, wanted.level_name, wanted.seed, as_json, lines, lines is not None)
    if lines is not None:
        click.echo(TYPE_IT, err=as_json)

    def shown(state: State, facts: tuple[Fact, ...], now_ms: int) -> None:
        for part in at_steps(facts):
            hints.before(part)
            screen.facts(state, part, now_ms)
            hints.facts(state, part, now_ms)

    with screen:
        return run_practice(
            prepared, wanted, persona=load_persona(persona) if persona else None, on_world=hints.world, also=hints.answer,
            typed=(lambda world, stage: TypedTrainee(world, lines, stage, level(wanted.level_name).brief)) if lines is not None else None,
            on_facts=shown,
            pacer=real_pace(wanted.factor, lines, quick=lambda: hints.waiting) if lines is not None else None,
        )


def _list_mishaps(plan: Plan, as_json: bool) -> int:
    found = [
        {"name": m.word, "title": m.title, "urgency": m.urgency, "ends_the_run": m.then != "resume"}
        for m in plan.mishaps.values() if m.word
    ]
    if as_json:
        print_json({"procedure": plan.procedure, "mishaps": found, "skipped": []})
    for one in found if not as_json else ():
        ends = ", ends the run" if one["ends_the_run"] else ""
        click.echo(f"  {one['name']:<16} {one['title']} ({one['urgency']}{ends})")
    return 0


def _answers(plan: Plan, given: tuple[str, ...]) -> dict[str, bool]:
    known = {o.id for o in plan.options}
    out = {}
    for text in given:
        name, _, answer = text.partition("=")
        if name not in known or answer not in ("yes", "no"):
            raise UsageError(f"'{text}' answers no question here.", expected=", ".join(f"{n}=yes|no" for n in sorted(known)))
        out[name] = answer == "yes"
    return out


def _show_ready(trainee: str, file: TraineeFile, rule: Path | None, now: datetime, as_json: bool) -> int:
    found = readiness(trainee, site_rule(file.folder.parent, rule), file.sessions(), file.tracers(), now.date())
    if as_json:
        print_json({**found.as_json(), "skipped": []})
    else:
        for demand in found.demands:
            click.echo(f"  {'met    ' if demand.met else 'missing'}  {demand.what}" + "".join(f"\n             {e}" for e in demand.evidence))
        click.echo(f"\n  {trainee} is {'ready to be signed off by a supervisor' if found.ready else 'not ready yet'}.")
    return 0 if found.ready else 1


def _show_due(file: TraineeFile, now: datetime, as_json: bool) -> int:
    cards = Refresh.load(file.folder / "refresh.json")
    found = cards.due(now)
    if as_json:
        print_json({"due": [{"item": item, "since": at.isoformat()} for item, at in found], "known": len(cards.cards), "skipped": []})
    elif not found:
        click.echo("  Nothing is due.")
    for item, at in found if not as_json else ():
        click.echo(f"  {item}  due since {at.date()}, known with {cards.recall(item, now):.0%}")
    return 0

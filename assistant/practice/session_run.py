"""One practice session, from drill to score, with its record and the evidence it leaves."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from assistant.practice.enclosure.disturbances import Disturbance, Disturber, draw_disturbances
from assistant.practice.enclosure.drills import Drill, draw
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.enclosure.stage import DrillStage
from assistant.practice.evidence.refresh import Refresh
from assistant.practice.evidence.score import EnclosureLog, MishapLog, Score, enclosure_log, items_of, score
from assistant.practice.evidence.signoff import Session, TraineeFile, record_digest
from assistant.practice.operator.channel import Channel
from assistant.practice.operator.person import Operator
from assistant.practice.operator.persona import Errors, Persona
from assistant.practice.oracle.judge import Oracle
from assistant.practice.simulate import Simulation
from assistant.practice.trainee.levels import Level, level
from assistant.practice.trainee.typed import TypedTrainee
from assistant.procedure.model.plan import Plan
from assistant.session.facts.base import Fact
from assistant.session.inputs import Input
from assistant.session.state import State
from assistant.speaking.estimate import seconds
from assistant.station.live.setup import Prepared
from assistant.station.loop.clock import DEMO_EPOCH
from assistant.station.loop.quiet_record import QuietRecord

ENCLOSURE_LOG = "enclosure.json"
OnFacts = Callable[[State, tuple[Fact, ...], int], None]
OnWorld = Callable[[EnclosureSim, tuple[Drill | Disturbance, ...]], None]


@dataclass(slots=True)
class Practised:
    """`problems`: what of the record doesn't hold, empty when all does."""

    folder: Path
    level: Level
    seed: str
    drills: tuple[Drill, ...]
    facts: list[Fact]
    verdict: str
    log: EnclosureLog
    score: Score
    problems: list[str]
    world: EnclosureSim
    ended_ms: int


def options_for(plan: Plan, answers: dict[str, bool]) -> tuple[tuple[str, bool], ...]:
    """The questions at the start, answered as asked for, else by the procedure's default, else no."""
    return tuple((o.id, answers.get(o.id, bool(o.default))) for o in plan.options)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be practised, by whom and how. `words`: only these kinds of mishap; `weights`: how much each needs it.
    `answers`: to the questions at the start. `disturb`: see `disturbances.KINDS`. `show`: where drills are told.
    `stamp`, `session_id` and `epoch` make the record's bytes the same again."""

    trainee: str
    level_name: str
    seed: int | str
    factor: float = 10.0
    mishaps: int = 0
    words: tuple[str, ...] = ()
    weights: dict[str, float] | None = None
    answers: dict[str, bool] | None = None
    disturb: tuple[str, ...] = ()
    records: Path | None = None
    show: Callable[[str], None] = lambda text: None
    stamp: str = ""
    session_id: str = ""
    epoch: datetime = DEMO_EPOCH

    def drills(self, plan: Plan) -> tuple[Drill, ...]:
        """The mishaps of this session; the same seed, the same ones."""
        return draw(plan, self.seed, self.mishaps, weights=self.weights, words=self.words)

    def header(
        self, persona: str, drills: tuple[Drill, ...], disturbances: tuple[Disturbance, ...],
    ) -> dict[str, dict[str, Any]]:
        """What the record's first line says of the practice."""
        return {"practice": {
            "level": level(self.level_name).id, "seed": str(self.seed), "persona": persona, "factor": f"{self.factor:g}",
            "drills": [asdict(d) for d in drills],
            **({"disturbances": [asdict(d) for d in disturbances]} if disturbances else {}),
        }}


def run_practice(
    ready: Prepared, wanted: Wanted, *, persona: Persona | None = None,
    typed: Callable[[EnclosureSim, DrillStage], TypedTrainee] | None = None, on_facts: OnFacts | None = None,
    pacer: Callable[[int, int], int] | None = None, on_world: OnWorld | None = None,
    also: Callable[[int], Input | None] = lambda now_ms: None,
) -> Practised:
    """Run one session to its end and judge it. Either a `persona` works, or whoever `typed` makes from the enclosure
    and the stage on which the drills happen. `also(now)`: inputs from elsewhere, each once, such as the answers
    given at level recall.

    Raises what records raise (StorageError and kin); the record then stays as it was.
    """
    plan, lvl, seed = ready.plan, level(wanted.level_name), wanted.seed
    drills = wanted.drills(plan)
    disturbances = draw_disturbances(plan, seed, wanted.disturb)
    world = EnclosureSim(plan, seed)
    operator: Operator | TypedTrainee
    if persona is not None:
        operator = Operator(persona, world, seed, cues=[d.cue() for d in drills], brief=lvl.brief)
    else:
        assert typed is not None  # one of the two works
        operator = typed(world, DrillStage(drills, world, wanted.show))
    if on_world:
        on_world(world, (*drills, *disturbances))
    channel = Channel(persona.errors if persona else Errors(), seed, ready.pack)
    oracle = Oracle(plan, world, operator.said, channel.confused, operator.lapses)
    record = QuietRecord(
        ready, "practice", wanted.trainee, records=wanted.records, source=f"persona {persona.id}" if persona else "keyboard",
        epoch=wanted.epoch, stamp=wanted.stamp, session_id=wanted.session_id,
        extra=wanted.header(persona.id if persona else "", drills, disturbances),
    )
    try:
        run = Simulation(
            plan, operator, channel, kind="practice", person=wanted.trainee, options=options_for(plan, wanted.answers or {}),
            decide_with=record.decide, oracle=oracle, on_facts=on_facts, brief=lvl.brief, pacer=pacer,
            disturber=Disturber(disturbances), also=also,
            line_s=seconds if persona is not None else lambda text: 0.0,  # whoever types has read it at once
        ).run()
        if run.problem:
            raise RuntimeError(run.problem)
        log = enclosure_log(oracle, world, mishap_logs(drills, operator.happened))
        problems = record.close(run.state)
    finally:
        record.abandon()
    keep_log(record.folder, log)
    return Practised(
        record.folder, lvl, str(seed), drills, run.facts, run.state.verdict or "open", log,
        score(plan, run.facts, log), problems, world, run.ended_ms,
    )


def keep_log(folder: Path, log: EnclosureLog) -> None:
    """Write what only the enclosure knows beside the record."""
    (folder / ENCLOSURE_LOG).write_text(json.dumps(log.as_json(), indent=1, sort_keys=True) + "\n", encoding="utf-8")


def mishap_logs(drills: Sequence[Drill], happened: Sequence[tuple[int, str]]) -> list[MishapLog]:
    places = {d.word: d.surface for d in drills}
    return [MishapLog(word, at, places.get(word, "")) for at, word in happened if word in places]


def keep_evidence(
    file: TraineeFile, done: Practised, plan: Plan, *, at: datetime, true_waits: bool = False,
) -> Session:
    """Book the session and what it tells for the refreshing. `at`: now, with a time zone."""
    late = {m.about for part in done.score.parts if part.name == "mishaps" for m in part.moments}
    ok = tuple(sorted(w for w in done.score.reactions_ms if w not in late))
    session = Session(
        str(done.folder), record_digest(done.folder), at.date().isoformat(), plan.procedure, done.level.id, done.verdict,
        done.score.total, len(done.score.critical), ok, true_waits,
    )
    file.add(session)
    path = file.folder / "refresh.json"
    cards = Refresh.load(path)
    for item, how in items_of(plan, done.facts, done.score).items():
        cards.review(item, how, at.astimezone(UTC))
    cards.save(path)
    return session

"""`assistant measure`: every figure the project states, each measured with a baseline in the same run."""

from __future__ import annotations

import click

from assistant.lazy_commands import LazyGroup

FIGURES = {
    "house": ("tests.bench.house.command:house", "Lines, a word's way, circles, type errors, findings."),
    "core": ("tests.bench.station.core:core", "Fold and decide: facts a second, bytes a fact."),
    "timers": ("tests.bench.station.timers:timers", "Deadline to fact, on both clocks."),
    "crash": ("tests.bench.station.crash:crash", "Kill a writing session, recover, finish."),
    "record": ("tests.bench.record.command:record", "Append, verify, deep replay, tampering, kills."),
    "hearing": ("tests.bench.hearing.command:hearing", "Recall, false accepts, latency, processor."),
    "speech": ("tests.bench.speaking.command:command", "From text to sound."),
    "danger": ("tests.bench.session.danger:danger", "A person or the containment in danger, at every step."),
    "prover": ("tests.bench.prover.command:prover", "Planted faults refuted by the proof."),
    "practice": ("tests.bench.practice.command:practice", "Ranking of personas, sessions a second."),
    "by-ear": ("tests.bench.practice.measure_by_ear:by_ear", "An operator that hears the sound: words, repeats, cleans done."),
    "pages": ("tests.bench.review.command:pages", "Server time, screens, board, accessibility."),
    "mutants": ("tests.bench.mutants.command:mutants", "Faults planted by rule: killed or not."),
}


@click.group(cls=LazyGroup, lazy=FIGURES)
def group() -> None:
    """Measure. Nothing here passes or fails; what couldn't be measured here is named."""

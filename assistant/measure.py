"""`assistant measure`: every figure the project states, each measured with a baseline in the same run."""

from __future__ import annotations

import click

from assistant.lazy_commands import LazyGroup

FIGURES = {
    "core": ("assistant.station.measure.core:core", "Fold and decide: facts a second, bytes a fact."),
    "timers": ("assistant.station.measure.timers:timers", "Deadline to fact, on both clocks."),
    "crash": ("assistant.station.measure.crash:crash", "Kill a writing session, recover, finish."),
    "record": ("assistant.record.measure.command:record", "Append, verify, deep replay, tampering, kills."),
    "hearing": ("assistant.hearing.measure.hearing_cli:hearing", "Recall, false accepts, latency, processor."),
    "speech": ("assistant.speaking.measure:command", "From text to sound."),
    "prover": ("assistant.prover.measure:prover", "Planted faults refuted by the proof."),
    "practice": ("assistant.practice.measure:practice", "Ranking of personas, sessions a second."),
    "by-ear": ("assistant.practice.measure_by_ear:by_ear", "An operator that hears the sound: words, repeats, cleans done."),
    "pages": ("assistant.review.measure.command:pages", "Server time, screens, board, accessibility."),
}


@click.group(cls=LazyGroup, lazy=FIGURES)
def group() -> None:
    """Measure. Nothing here passes or fails; what couldn't be measured here is named."""

"""`assistant demo`: one whole clean, talked through by voice, with nothing but this checkout."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from assistant.account.times import clock_text
from assistant.demo.demo import DemoResult
from assistant.errors import ReplayMismatchError
from assistant.station.account.json_out import print_json


@click.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.option("--plain", is_flag=True, help="Plain lines, no live screen.")
@click.option("--records", type=click.Path(path_type=Path), help="Folder for the record and the sound.")
@click.option("--language", default="en", show_default=True, help="en, or ko (experimental).")
@click.option("--engine", type=click.Choice(["vosk", "pocketsphinx"]), help="Speech engine; else the best one found.")
@click.option("--model", help="A Vosk model: folder, .zip or .aar.")
@click.option("--echo", "echo_db", type=float, help="Let the assistant's voice leak into the microphone, in dB (-20).")
@click.option("--snr", "snr_db", type=float, default=20.0, show_default=True, help="Speech above fan noise, in dB.")
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Another seed, another technician's timing.")
def demo(
    as_json: bool, plain: bool, records: Path | None, language: str, engine: str | None, model: str | None,
    echo_db: float | None, snr_db: float, seed: int,
) -> int:
    """Run one whole clean with a virtual technician: real voice, real listening, about a minute of computing.

    Nothing of it is live work, and its record can never pass for that.
    """
    from assistant.demo.demo import run_demo
    from assistant.procedure.model.plan import Plan
    from assistant.station.loop.screen import LiveScreen, PlainScreen, open_screen

    def screen(plan: Plan, title: str) -> PlainScreen | LiveScreen:
        return open_screen(plan, title, out=sys.stderr if as_json else sys.stdout, plain=plain or as_json)

    result = run_demo(
        records=records, language=language, engine=engine, model=model, echo_db=echo_db, snr_db=snr_db, seed=seed,
        open_screen=screen,
    )
    if as_json:
        print_json(result.as_json())
    else:
        _summary(result)
    if not result.replayed:
        raise ReplayMismatchError(
            "The record doesn't replay to the same end: " + "; ".join(result.problems), where=str(result.record),
            try_next="assistant verify --deep on that folder; please report this",
        )
    return 0


def _summary(result: DemoResult) -> None:
    t = result.tally
    rows = [
        ("Verdict", t.verdict + ("" if not t.left_open else f" ({len(t.left_open)} left open)")),
        ("Steps done", str(t.steps_done)),
        ("Waits kept", f"{t.waits}; surfaces wetted again: {t.rewets}"),
        ("Heard", f"{t.heard} accepted, {t.refused} refused"),
        ("Deviations", f"{t.deviations}; taken back: {t.corrections}"),
        ("Time", f"{clock_text(round(result.simulated_s * 1000))} simulated, {clock_text(t.waited_ms)} of it waiting; "
                 f"{result.taken_s:.0f} s of computing"),
        ("Listened with", f"{result.engine.get('engine')} {result.engine.get('version', '')}, {result.engine.get('model')}"),
        ("Record", str(result.record)),
        ("Sound", str(result.sound)),
        ("Replay", "the record folds to the same end state" if result.replayed else "DOES NOT HOLD"),
    ]
    click.echo("")
    for name, text in rows:
        click.echo(f"  {name:<14} {text}")
    for at, text in t.texts:
        click.echo(f"  {'deviation':<14} {clock_text(at)} {text}")
    if result.experimental:
        click.echo(f"  {'experimental':<14} {result.experimental}")
    for text in result.skipped:
        click.echo(f"  {'not shown':<14} {text}")
    click.echo(
        f"\n  Next: listen to the sound file; assistant replay {result.record}; assistant practice gb-2-light-clean; "
        "assistant review"
    )

"""A trainee's evidence as the supervisor sees it, on the command line."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from assistant.hearing.people.old_profile import trainees_folder
from assistant.practice.evidence.signoff import TraineeFile, readiness
from assistant.practice.evidence.site_rule import site_rule
from assistant.station.account.json_out import print_json


def evidence_folder(chosen: Path | None = None) -> Path:
    """Where trainees' evidence is kept."""
    return chosen or trainees_folder()


def show_evidence(trainee: str, file: TraineeFile, rule: Path | None, now: datetime, as_json: bool) -> int:
    """Print every session, tracer wipe and demand; 0 if ready, else 1. Raises SiteFileError, UsageError."""
    wanted, sessions, tracers = site_rule(file.folder.parent, rule), file.sessions(), file.tracers()
    found = readiness(trainee, wanted, sessions, tracers, now.date())
    if as_json:
        print_json({
            **found.as_json(), "sessions": [
                {"day": s.day, "procedure": s.procedure, "level": s.level, "verdict": s.verdict, "score": s.total,
                 "critical": s.critical, "mishaps_in_time": list(s.mishaps_ok), "true_waits": s.true_waits,
                 "record": s.record, "sha256": s.seal_sha256} for s in sessions],
            "tracers": [{"observer": t.observer, "day": t.day, "passed": t.passed} for t in tracers], "skipped": [],
        })
        return 0 if found.ready else 1
    click.echo(f"  Evidence of {trainee}, held against: {wanted.title}\n")
    for s in sessions:
        more = "".join(f", {word.replace('_', ' ')} in time" for word in s.mishaps_ok) + (", true waits" if s.true_waits else "")
        click.echo(f"  {s.day}  {s.procedure}  {s.level}: {s.verdict}, {s.total:g} of 100, {s.critical} critical{more}")
        click.echo(f"              {s.record}\n              sha256 {s.seal_sha256}")
    for t in tracers:
        click.echo(f"  {t.day}  wipe with a tracer: {'passed' if t.passed else 'failed'}, seen by {t.observer}")
    click.echo("")
    for demand in found.demands:
        click.echo(f"  {'met    ' if demand.met else 'missing'}  {demand.what}")
    click.echo(f"\n  {trainee} is {'ready to be signed off by a supervisor' if found.ready else 'not ready yet'}.")
    return 0 if found.ready else 1

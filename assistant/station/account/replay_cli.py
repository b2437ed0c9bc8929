"""`assistant replay RECORD`: a record step by step, on the terminal."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assistant.account.times import clock_text
from assistant.errors import ReplayMismatchError

if TYPE_CHECKING:
    from assistant.account.reading import OpenedSession
    from assistant.account.tally import Tally
    from assistant.session.facts.base import Fact


@click.command()
@click.argument("record", type=click.Path(path_type=Path))
@click.option("--speed", type=click.FloatRange(min=0), default=0.0, help="Times real speed; 0: at once.")
@click.option("--deviations", is_flag=True, help="Only what led to each deviation, and it.")
@click.option("--from", "from_s", type=float, default=0.0, help="Start at this second.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def replay(record: Path, speed: float, deviations: bool, from_s: float, as_json: bool) -> int:
    """Show a record as it happened, then say whether it folds to what it claims.

    With --deviations it jumps from one to the next. Exit code 8 where the record doesn't hold.
    """
    from assistant.account.digest import facts_sha256, state_sha256
    from assistant.account.reading import folded, load_session
    from assistant.account.rederiving import rederive
    from assistant.account.tally import tally
    from assistant.account.written import Written
    from assistant.session import initial
    from assistant.station.account.json_out import print_json
    from assistant.station.loop.screen import fact_line, printable

    opened = load_session(record)
    state, last = initial(opened.plan), round(from_s * 1000)
    written = Written(opened.plan)
    wanted = _near_deviations(opened.facts) if deviations else None
    for index, fact in enumerate(opened.facts):
        state = folded(state, fact, index + 1)
        text = written(fact, fact_line(opened.plan, fact))
        if as_json or not text or fact.at_ms < from_s * 1000 or (wanted is not None and index not in wanted):
            continue
        if speed:
            time.sleep(max(0, fact.at_ms - last) / 1000 / speed)
        last = fact.at_ms
        click.echo(f"{clock_text(fact.at_ms)} {printable(text)}")
    problems = [*opened.record.problems, *rederive(opened)]
    seal = opened.record.seal
    if seal is not None and seal.data.get("state_sha256") not in ("", None, state_sha256(state, opened.record.rules)):
        problems.append("the record folds to another end state than its seal names")
    counted = tally(opened.facts)
    if as_json:
        print_json({
            "record": str(record), "kind": opened.record.kind, "facts": len(opened.facts), "sealed": seal is not None,
            "verdict": counted.verdict or "open", "deviations": counted.deviations, "holds": not problems,
            "problems": problems, "facts_sha256": facts_sha256(opened.facts), "state_sha256": state_sha256(state, opened.record.rules),
        })
    else:
        _end(opened, counted, problems, seal is not None)
    if problems:
        raise ReplayMismatchError("The record doesn't hold: " + "; ".join(problems), where=str(record))
    return 0


def _near_deviations(facts: tuple[Fact, ...]) -> set[int]:
    from assistant.session.facts.troubles import Deviation

    found: set[int] = set()
    for index, fact in enumerate(facts):
        if isinstance(fact, Deviation):
            found.update(range(max(0, index - 6), index + 3))
    return found


def _end(opened: OpenedSession, counted: Tally, problems: list[str], sealed: bool) -> None:
    click.echo(
        f"\n  {opened.record.kind} record, {len(opened.facts)} facts, "
        f"{'sealed' if sealed else 'not sealed: the session was never closed'}; verdict {counted.verdict or 'open'}; "
        f"{counted.deviations} deviations; {clock_text(counted.ended_ms)} long."
    )
    if not problems:
        click.echo("  It folds to the same state, and every decision follows from what came before.")

"""`assistant tag`: the status label for the door."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import click

from assistant.record.commands.shared import print_json, record_path, write_out
from assistant.record.export.summary import ReportSummary
from assistant.record.export.tag import NOT_BEYOND_USE, label_lines, label_pdf, label_text, qr_text, status
from assistant.record.reader import Record, read_record, require_whole
from assistant.record.storage.paths import root_of_session
from assistant.record.verify import verify
from assistant.station.account.overdue import overdue_lines
from assistant.station.account.summary import summarise


@click.command("tag")
@click.argument("record")
@click.option(
    "--to", "target", type=click.Path(dir_okay=False), help="Write it as a PDF page (A6) to this file."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def command(record: str, target: str | None, as_json: bool) -> int:
    """Print RECORD's status label: what was cleaned, when, by whom, fit until when, and the seal with its
    code.

    It says "not released" until the site's rule is met.
    """
    path = record_path(record)
    held = require_whole(read_record(path))
    held.problems += verify(path).problems  # a record that doesn't verify gets no good label
    summary = _unless_overdue(held, summarise(held))
    if target:
        place = Path(target)
        write_out(place.parent, place.name, label_pdf(held, summary))
        click.echo(str(place), err=as_json)
    if as_json:
        print_json(
            {
                "status": status(held, summary),
                "code": qr_text(held),
                "not_a": NOT_BEYOND_USE,
                **{name.lower().replace(" ", "_"): value for name, value in label_lines(held, summary)},
            }
        )
    elif not target:
        click.echo(label_text(held, summary))
    return 0


def _unless_overdue(held: Record, summary: ReportSummary) -> ReportSummary:
    """No "fit until" while something is overdue on the enclosure: the label says what."""
    enclosure = held.header.get("enclosure")
    if held.kind != "live" or held.folder is None or not isinstance(enclosure, dict):
        return summary
    late = overdue_lines(root_of_session(held.folder), str(enclosure.get("id", "")), date.today())
    return replace(summary, fit_until_wall="", fit_rule=" ".join(late)) if late else summary

"""`assistant export`: the report, the facts and the archive that people take away."""

from __future__ import annotations

from pathlib import Path

import click

from assistant.errors import StorageError
from assistant.record.commands.shared import (
    print_json,
    record_path,
    wall_now,
    write_out,
    write_out_by,
)
from assistant.record.export.archive import write_archive
from assistant.record.export.csv_facts import csv_bytes
from assistant.record.export.pdf import pdf_bytes
from assistant.record.reader import read_record, require_whole
from assistant.record.site_log import SiteLog, printed_statement
from assistant.record.storage.paths import root_of_session
from assistant.record.verify import verify
from assistant.station.account.summary import summarise


@click.command("export")
@click.argument("record")
@click.option(
    "--to",
    "target",
    type=click.Path(file_okay=False),
    default=".",
    show_default="here",
    help="Folder to write to.",
)
@click.option("--page", type=click.Choice(["a4", "letter", "both"]), default="a4", show_default=True)
@click.option(
    "--only", type=click.Choice(["pdf", "csv", "archive"]), help="One of the three; without it all."
)
@click.option(
    "--sound/--no-sound", default=True, help="The session's sound in the archive, where there is one.",
    show_default=True,
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def command(record: str, target: str, page: str, only: str | None, sound: bool, as_json: bool) -> int:
    """Write RECORD's report (PDF), its facts (CSV) and a self-contained archive (ZIP).

    The same record gives the same bytes each time. The witness log's root of this moment goes beside them.
    """
    path = record_path(record)
    held = require_whole(read_record(path))
    report = verify(path)
    summary = summarise(held)
    name = held.session.replace("/", "-")
    folder = Path(target)
    written: list[Path] = []
    if only in (None, "pdf"):
        for size in ("a4", "letter") if page == "both" else (page,):
            written.append(write_out(folder, f"{name}-report-{size}.pdf", pdf_bytes(held, summary, size)))
    if only in (None, "csv"):
        written.append(write_out(folder, f"{name}-facts.csv", csv_bytes(held)))
    if only in (None, "archive"):
        fill = lambda out: write_archive(held, summary, out, sound=sound)  # noqa: E731 - used once
        written.append(write_out_by(folder, f"{name}.zip", fill))
    root = ""
    if held.folder:
        log, last = SiteLog(root_of_session(held.folder)), held.lines[-1]
        try:
            # A copy somewhere else has no log of its own, and gets none: that would be a second truth.
            if log.exists:
                root = log.note("exported", held.session, last.seq, last.sha256, wall_now())
                page_text = printed_statement(log.check(), summary.site, wall_now())
                written.append(write_out(folder, f"{name}-witness.txt", page_text.encode()))
        except StorageError as error:
            click.echo(f"The witness log can't be written: {error.what}", err=True)
    if as_json:
        print_json(
            {
                "written": [str(item) for item in written],
                "witness_root": root,
                "intact": report.intact,
                "sealed": report.sealed,
                "problems": report.problems,
            }
        )
    else:
        for item in written:
            click.echo(str(item))
    for problem in report.problems:
        click.echo(f"Attention: {problem}", err=True)
    return 0

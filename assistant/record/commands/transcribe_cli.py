"""`assistant transcribe`: paper that was used while the computer was down, entered afterwards."""

from __future__ import annotations

import hashlib
from pathlib import Path

import click

from assistant.errors import UsageError
from assistant.record.commands.shared import print_json, record_path, records_root, wall_now
from assistant.record.recover import recover
from assistant.record.transcribe import read_entries, transcribe, transcription_record


@click.command("transcribe")
@click.argument("entries", type=click.Path(dir_okay=False, exists=True))
@click.option(
    "--scan",
    "scans",
    multiple=True,
    required=True,
    type=click.Path(dir_okay=False),
    help="The paper, scanned. Once per file.",
)
@click.option("--author", required=True, help="Who wrote the paper.")
@click.option("--transcriber", required=True, help="Who types it in.")
@click.option(
    "--into", help="An open record that the paper belongs to; without it a record of its own is made."
)
@click.option("--enclosure", help="Without --into: which enclosure.")
@click.option("--procedure", default="", help="Without --into: which procedure.")
@click.option("--records", type=click.Path(file_okay=False), help="Without --into: the records' folder.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def command(
    entries: str,
    scans: tuple[str, ...],
    author: str,
    transcriber: str,
    into: str | None,
    enclosure: str | None,
    procedure: str,
    records: str | None,
    as_json: bool,
) -> int:
    """Enter the rows of ENTRIES (CSV: happened,text) as late entries, with the scans they were copied from.

    A late entry never counts as a wait that was watched.
    """
    rows = read_entries(Path(entries).read_bytes(), entries)
    papers = [Path(scan) for scan in scans]
    wall = wall_now()
    if into:
        with recover(
            record_path(into), wall=wall, owner=transcriber, why="late entries from paper"
        ) as writer:
            transcribe(writer, rows, papers, author=author, transcriber=transcriber, wall=wall)
            folder = writer.folder
    elif enclosure:
        stamp = wall_stamp()
        session_id = "paper-" + hashlib.sha256(Path(entries).read_bytes() + stamp.encode()).hexdigest()[:8]
        folder = transcription_record(
            Path(records or records_root()),
            rows,
            papers,
            header={"technician": author, "enclosure": enclosure, "procedure": procedure},
            enclosure=enclosure,
            stamp=stamp,
            session_id=session_id,
            rules=0,
            wall=wall,
            author=author,
            transcriber=transcriber,
        )
    else:
        raise UsageError(
            "Where the entries belong was not named.", expected="--into RECORD, or --enclosure NAME"
        )
    if as_json:
        print_json({"record": str(folder), "entries": len(rows), "scans": len(papers)})
    else:
        click.echo(f"{len(rows)} late entries and {len(papers)} scans in {folder}")
    return 0


def wall_stamp() -> str:
    """UTC now, for a folder's name."""
    from datetime import UTC, datetime

    return datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")

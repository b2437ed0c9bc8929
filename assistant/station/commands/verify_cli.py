"""`assistant verify`: does a record hold, from the first line to the last?"""

from __future__ import annotations

from pathlib import Path

import click

from assistant.account.deep import deep_problems
from assistant.errors import FindingsError, RecordError, ReplayMismatchError, UsageError
from assistant.record.commands.shared import keys_root, print_json, record_path, wall_now
from assistant.record.lines.safe_text import printable
from assistant.record.signing.keys import REGISTRY, KeyStore
from assistant.record.site_log import SiteLog, SiteLogReport, printed_statement
from assistant.record.storage.index import list_records
from assistant.record.verify import VerifyReport, verify


@click.command("verify")
@click.argument("records", nargs=-1)
@click.option("--deep", is_flag=True, help="Fold it through the core as well; it must end in the same state.")
@click.option(
    "--site",
    type=click.Path(file_okay=False),
    help="Check every record below this folder, and its witness log.",
)
@click.option(
    "--witness/--no-witness", default=True, help="Ask the witness log above the record (default: yes)."
)
@click.option("--keys-folder", type=click.Path(file_okay=False), help="Where the registry of public keys is.")
@click.option(
    "--statement", is_flag=True, help="With --site: print the witness statement, a page to keep elsewhere."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def command(
    records: tuple[str, ...],
    deep: bool,
    site: str | None,
    witness: bool,
    keys_folder: str | None,
    statement: bool,
    as_json: bool,
) -> int:
    """Check each line of RECORD (a session's folder, its record.jsonl, or its id) against the next.

    Names the first bad line and what still holds before it. Exit code 0: whole and sealed. 1: whole, but
    not sealed. 7: not whole. 8: whole, but the replay doesn't end in the same state. With --site also
    records that the witness log knows and that are gone.
    """
    if not records and not site:
        raise UsageError(
            "Nothing to verify was named.",
            expected="a record, or --site FOLDER",
            try_next="assistant verify RECORD",
        )
    log = SiteLog(site).check() if site else None
    folders = [record_path(name) for name in records] + (
        [e.folder for e in list_records(site)] if site else []
    )
    keys = keys_root(keys_folder)
    known = KeyStore(keys) if (keys / REGISTRY).exists() else None
    reports = [_check(folder, deep, witness, known) for folder in folders]
    gone = _gone(site, log) if site and log else []
    if as_json:
        print_json(
            {
                "records": [report.as_json() for report in reports],
                "gone": gone,
                "ok": not gone and all(r.complete for r in reports) and not (log and log.problems),
                "witness": {"size": log.size, "root": log.root, "problems": list(log.problems)}
                if log
                else None,
            }
        )
    else:
        for report in reports:
            if len(reports) > 1 or report.lines:  # of one thing that is no record, the finding below says it all
                click.echo(describe(report))
        for session in gone:
            click.echo(f"{printable(session)}: GONE. The witness log knows this record, but it isn't here.")
        if log:
            click.echo(
                f"Witness log: {log.size} entries, root {log.root}"
                + "".join(f"\n  {problem}" for problem in log.problems)
            )
    if site and log and statement:
        click.echo(printed_statement(log, str(Path(site).absolute()), wall_now()), err=as_json)
    bad = [report for report in reports if not report.intact]
    if bad and not gone and not (log and log.problems) and all(report.deep is False for report in bad):
        raise ReplayMismatchError(
            bad[0].problems[0],
            where=bad[0].path,
            try_next="The lines are whole. Replay it, and look at what made them.",
        )
    if bad or gone or (log and log.problems):
        first = bad[0] if bad else None
        if first and not first.lines:
            raise RecordError(
                f"No line of this is a record's. {first.problems[0]}",
                where=first.path,
                expected="a session folder, or its record.jsonl",
                try_next="Name another. If this should be a record, keep a copy as it is, and tell whoever keeps "
                "the records.",
            )
        raise RecordError(
            first.problems[0] if first else "Records are gone." if gone else "The witness log doesn't hold.",
            where=first.path if first else str(site),
            try_next="Keep a copy as it is. Don't sign it. Tell whoever keeps the records.",
        )
    if any(not report.sealed for report in reports):
        raise FindingsError(
            "Whole so far, but not sealed: the session was never closed, or its end is cut off.",
            where=next(report.path for report in reports if not report.sealed),
            try_next="Close or recover the session, or look for its end.",
        )
    return 0


def _check(folder: Path, deep: bool, witness: bool, known: KeyStore | None) -> VerifyReport:
    report = verify(
        folder, witness=None if witness else False, public_keys=known.public_keys() if known else None
    )
    for signature in report.signatures if report.intact else ():
        if known and (problem := known.problem_with(signature.key_id, signature.wall)):
            report.problems.append(f"Line {signature.line}: {problem}.")
    if deep and report.intact:
        found = deep_problems(folder)
        report.deep = not found
        report.problems += [f"Deep: {problem}" for problem in found]
    return report


def _gone(site: str, log: SiteLogReport) -> list[str]:
    here = {entry.session for entry in list_records(site)}
    return sorted(session for session in log.marks if session not in here)


def describe(report: VerifyReport) -> str:
    """A few plain lines about one record, safe for a terminal."""
    kind = "" if report.kind in ("live", "") else f" ({report.kind})"
    state = (
        "WHOLE AND SEALED"
        if report.complete
        else "WHOLE, NOT SEALED"
        if report.intact
        else "TORN at its end"
        if report.torn and len(report.problems) == 1
        else "DOES NOT HOLD"
    )
    rows = [f"{printable(report.path)}{kind}: {state}"]
    rows += [f"  {printable(problem)}" for problem in report.problems]
    if report.first_bad_line is not None:
        rows.append(
            f"  Lines 1 to {report.holds_through} still hold."
            if report.holds_through
            else "  Nothing before it is sure."
        )
    else:
        rows.append(f"  {report.lines} lines; the last one's SHA-256 is {report.head}")
    if report.verdict:
        rows.append(f"  Verdict in the seal: {printable(report.verdict, 300)}")
    rows += [
        f"  Line {s.line}: {s.meaning} by {s.name}, {printable(s.wall)}"
        + ("" if s.known else ", key not checked against a registry" if s.known is None else "")
        for s in report.signatures
        if not s.problem
    ]
    rows.append(
        "  The witness log agrees."
        if report.witnessed and report.intact
        else "  No witness log was asked."
        if not report.witnessed
        else ""
    )
    if report.deep and report.paper:
        rows.append("  Deep: kept on paper and entered late, so there is nothing to decide again.")
    elif report.deep:
        rows.append("  Deep: the core folds it to the same state, and decides the same again.")
    return "\n".join(filter(None, rows))

"""`assistant signoff`: a trainee's sign-offs, and taking one back. Signing itself is on the pages, beside the evidence."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assistant.errors import RefusedError, UsageError

if TYPE_CHECKING:
    from assistant.review.people.accounts import Accounts
    from assistant.review.people.practice_signoff import EvidencePort

_HOME = click.option("--home", type=click.Path(path_type=Path, file_okay=False), help="Folder for accounts, keys and index.")
_EVIDENCE = click.option("--evidence-folder", type=click.Path(path_type=Path), help="Folder of trainees' practice evidence.")
_RULE = click.option("--rule", type=click.Path(path_type=Path), help="The rule for signing off. Default: as for review.")


def _open(home: Path | None, evidence: Path | None, rule: Path | None, trainee: str) -> tuple[EvidencePort, str, Accounts]:
    from assistant.review.people.accounts import Accounts
    from assistant.review.serving.places import home_folder, keys_folder
    from assistant.review.serving.wiring import practice_evidence, trainee_folder

    port = practice_evidence(evidence, rule)
    name = trainee_folder(port, trainee)
    if name not in port.trainees():
        raise UsageError(f"There is no trainee {trainee}.", where=str(port.folder), try_next="assistant practice --trainee NAME")
    return port, name, Accounts(home_folder(home), keys=keys_folder(home))


@click.group("signoff")
def command() -> None:
    """Who was signed off for live work; and withdrawing it."""


@command.command("show")
@click.argument("trainee")
@_HOME
@_EVIDENCE
@_RULE
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
def show(trainee: str, home: Path | None, evidence_folder: Path | None, rule: Path | None, as_json: bool) -> int:
    """Every sign-off of TRAINEE and whether it stands. Exit code 0 if one does, else 1."""
    from assistant.review.people.practice_signoff_lines import SIGNED, sign_offs, why_not_standing

    port, name, accounts = _open(home, evidence_folder, rule, trainee)
    found = port.of(name)
    assert found is not None  # it was found by its name
    here_now = [s.sha256 for s in found.sessions]
    rows = [
        (one, why_not_standing(one, found.rule_sha256, here_now) if one.kind == SIGNED else one.problem)
        for one in sign_offs(port.folder / name, name, accounts)
    ]
    stands = any(one.kind == SIGNED and not why for one, why in rows)
    if as_json:
        click.echo(json.dumps({
            "trainee": name, "stands": stands, "lines": [{**asdict(one), "why_not": why} for one, why in rows],
        }, ensure_ascii=False, sort_keys=True))  # fmt: skip
        return 0 if stands else 1
    for one, why in rows:
        what = f"withdraws {one.withdraws}" if one.withdraws else f"signed off for {', '.join(one.procedures) or 'unknown'}"
        click.echo(f"  {one.number}. {one.wall[:16]}  {one.name or 'unknown'}: {what}. {one.reason}")
        if why:
            click.echo(f"     Counts no more: {why}." if one.kind == SIGNED else f"     Doesn't hold: {why}.")
    click.echo(f"  {trainee} is {'signed off' if stands else 'not signed off'}.")
    return 0 if stands else 1


@command.command("withdraw")
@click.argument("trainee")
@click.option("--number", type=click.IntRange(1), required=True, help="Which sign-off, as `show` counts them.")
@click.option("--supervisor", required=True, help="Your name, as in your account.")
@click.option("--reason", required=True, help="Why it stands no more.")
@_HOME
@_EVIDENCE
@click.option("--passphrase-stdin", is_flag=True, help="Read the passphrase from the first line of stdin.")
def withdraw(
    trainee: str, number: int, supervisor: str, reason: str, home: Path | None, evidence_folder: Path | None,
    passphrase_stdin: bool,
) -> None:  # fmt: skip
    """Withdraw a sign-off of TRAINEE: a signed line with your reason. The sign-off stays readable."""
    from assistant.review.people.practice_signoff import withdraw_sign_off
    from assistant.review.session.times import now_wall

    port, name, accounts = _open(home, evidence_folder, None, trainee)
    passphrase = sys.stdin.readline().rstrip("\r\n") if passphrase_stdin else click.prompt("Passphrase", hide_input=True, err=True)
    account = accounts.sign_in(supervisor, passphrase)
    if account is None:
        raise RefusedError("Name and passphrase don't belong together.", try_next="Try again, or: assistant accounts list")
    key = accounts.keys.unlock(account.name, passphrase)
    withdraw_sign_off(port.folder / name, name, accounts, account, key, number=number, reason=reason, wall=now_wall())
    click.echo(f"Sign-off {number} of {trainee} is withdrawn.", err=True)

"""`assistant approve`: after a clean check and proof, show what changed and sign. Exit codes: 0 signed (or --status:
approved), 1 findings or a refuted proof, 2 unreadable files, 10 refused."""

from __future__ import annotations

import json
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assistant.errors import FindingsError, RefusedError, UsageError

if TYPE_CHECKING:
    from assistant.procedure.approval import Approval
    from assistant.procedure.loading.load import Loaded
    from assistant.procedure.model.plan import Plan


@click.command(name="approve")
@click.argument("procedure")
@click.option("--by", "name", help="Who signs, as in `assistant keys`.")
@click.option("--status", is_flag=True, help="Only say whether it is approved as it stands.")
@click.option("--passphrase-stdin", is_flag=True, help="Read the passphrase from standard input, one line.")
@click.option("--yes", is_flag=True, help="Don't ask once more before signing.")
@click.option(
    "--procedures", "--folder", "folder", type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Folder of the site's files, if it isn't `procedures`.",
)
@click.option(
    "--approvals", type=click.Path(path_type=Path, file_okay=False), help="Where approvals are kept."
)
@click.option("--keys-folder", type=click.Path(path_type=Path, file_okay=False), help="Where keys are kept.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def approve(
    procedure: str,
    name: str | None,
    status: bool,
    passphrase_stdin: bool,
    yes: bool,
    folder: Path | None,
    approvals: Path | None,
    keys_folder: Path | None,
    as_json: bool,
) -> int:
    """Approve PROCEDURE for live use. A changed file is no longer approved."""
    from assistant.procedure.approval import Approval, add_approval, changes_since_last, state
    from assistant.procedure.compiling.compile import compile_plan
    from assistant.procedure.loading.load import load_procedure
    from assistant.procedure.paper.changes import plan_values
    from assistant.procedure.rules.check import check_procedure
    from assistant.procedure.rules.every import RULES
    from assistant.record.commands.shared import keys_root, wall_now
    from assistant.record.signing.keys import KeyStore
    from assistant.station.approving.approvals import approvals_root, is_approved

    loaded = load_procedure(procedure, folder)
    plan = compile_plan(loaded)
    root = approvals_root(approvals)
    if status:
        return _say_status(is_approved(plan, root, keys_folder), plan, as_json)
    if not name:
        raise UsageError(
            "Nobody is named who approves.", expected="--by NAME", try_next="assistant keys list"
        )
    findings = check_procedure(loaded)
    if findings:
        first = findings[0]
        raise FindingsError(
            f"The check finds {len(findings)} things, so nothing is signed.",
            where=f"{first.file}:{first.line}",
            expected="a clean check",
            try_next=f"assistant check {procedure}",
        )
    proof = proof_line(loaded)
    changed = changes_since_last(plan, root)
    _show(plan, changed, proof, len(RULES))
    if not yes:
        if not sys.stdin.isatty():
            raise UsageError("There is nobody to ask.", try_next="--yes after reading what changed")
        if not click.confirm("Approve this for live use?", default=False, err=True):
            raise RefusedError("Nothing was signed.")
    if passphrase_stdin:
        passphrase = sys.stdin.readline().rstrip("\n")
    elif sys.stdin.isatty():
        passphrase = click.prompt("Passphrase", hide_input=True, err=True)
    else:
        raise UsageError("There is nobody to ask for a passphrase.", try_next="--passphrase-stdin")
    key = KeyStore(keys_root(str(keys_folder) if keys_folder else None)).unlock(name, passphrase)
    statement = state(
        plan,
        name=key.name,
        key_id=key.key_id,
        at=wall_now(),
        check=f"{len(RULES)} rules, nothing found",
        proof=proof,
    )
    approval = Approval(statement, key.entry.public_key, key.sign(statement.message()), plan_values(plan))
    path = add_approval(approval, root)
    if as_json:
        told = {"approved": True, "procedure": plan.procedure, "revision": plan.revision, "sha256": plan.sha256,
                "name": key.name, "key_id": key.key_id, "at": statement.at, "changes": changed, "file": str(path)}
        click.echo(json.dumps(told, ensure_ascii=False))
    else:
        click.echo(f"Approved by {key.name} ({key.key_id}): {plan.procedure}, revision {plan.revision}.")
    return 0


def _show(plan: Plan, changed: list[str] | None, proof: str, rules: int) -> None:
    """On standard error, so that --json keeps standard output to one object."""
    say = partial(click.echo, err=True)
    say(f"{plan.title}, revision {plan.revision}")
    say(f"Content SHA-256 {plan.sha256}")
    say(f"Check: {rules} rules, nothing found. Proof: {proof}.")
    if changed is None:
        say("It was never approved before.")
    elif not changed:
        say("Nothing changed since the last approval that a technician would hear or see.")
    else:
        say("Since the last approved revision:")
        for line in changed:
            say(f"  {line}")


def proof_line(loaded: Loaded) -> str:
    """What was proven, for the statement that is signed. Raises FindingsError when a property is refuted."""
    from assistant.prover.proof import prove_procedure

    verdict = prove_procedure(loaded, shown=True)
    if not verdict.proven:
        raise FindingsError(
            "The proof refutes a property, so nothing is signed.",
            where=loaded.procedure.id,
            expected="a proof of every property",
            try_next=f"assistant prove {loaded.procedure.id}",
        )
    bound = f", within: {verdict.bounded}" if verdict.bounded else ""
    return f"{verdict.states} states, {verdict.transitions} transitions, every property holds{bound}"


def _say_status(approval: Approval | None, plan: Plan, as_json: bool) -> int:
    if as_json:
        s = approval.statement if approval else None
        told = {"approved": approval is not None, "procedure": plan.procedure, "sha256": plan.sha256,
                "name": s.name if s else "", "at": s.at if s else ""}
        click.echo(json.dumps(told, ensure_ascii=False))
    elif approval:
        click.echo(f"Approved by {approval.statement.name} at {approval.statement.at}.")
    else:
        click.echo(f"{plan.procedure}, revision {plan.revision}, isn't approved as it stands.")
    return 0 if approval else 1

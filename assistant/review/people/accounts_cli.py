"""`assistant accounts`: who may see and sign. Passphrases are asked for, never taken from the command
line."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assistant.errors import UsageError

if TYPE_CHECKING:
    from assistant.review.people.accounts import Accounts


_HOME = click.option(
    "--home", type=click.Path(path_type=Path, file_okay=False), help="Folder for accounts, keys and index."
)
_STDIN = click.option(
    "--passphrase-stdin", is_flag=True, help="Read the passphrase from the first line of stdin."
)


def _accounts(home: Path | None) -> Accounts:
    from assistant.review.people.accounts import Accounts
    from assistant.review.serving.places import home_folder, keys_folder

    return Accounts(home_folder(home), keys=keys_folder(home))


def _passphrase(from_stdin: bool) -> str:
    if from_stdin:
        return sys.stdin.readline().rstrip("\r\n")
    first = click.prompt("Passphrase", hide_input=True, err=True)
    if click.prompt("Again", hide_input=True, err=True) != first:
        raise UsageError("The two passphrases differ.", try_next="Try again.")
    return first


@click.group("accounts")
def accounts() -> None:
    """Who may see and sign: technician, supervisor, author, reader."""


@accounts.command("add")
@click.argument("name")
@click.option("--role", required=True, type=click.Choice(["technician", "supervisor", "author", "reader"]))
@click.option("--alias", "aliases", multiple=True, help="Another name this person goes by in records.")
@_HOME
@_STDIN
def add(name: str, role: str, aliases: tuple[str, ...], home: Path | None, passphrase_stdin: bool) -> None:
    """Make an account. NAME is the printed name, as it stands under a signature."""
    from assistant.review.session.times import now_wall

    account = _accounts(home).add(
        name, role, _passphrase(passphrase_stdin), since=now_wall(), aliases=aliases
    )
    click.echo(f"{account.name} can sign in as {account.role}.", err=True)


@accounts.command("passphrase")
@click.argument("name")
@_HOME
@_STDIN
def passphrase(name: str, home: Path | None, passphrase_stdin: bool) -> None:
    """Set a new passphrase. The signing key is made anew; what the old one signed still stands."""
    from assistant.review.session.times import now_wall

    _accounts(home).set_passphrase(name, _passphrase(passphrase_stdin), now=now_wall())
    click.echo("The new passphrase holds from now on.", err=True)


@accounts.command("close")
@click.argument("name")
@_HOME
def close(name: str, home: Path | None) -> None:
    """Close an account. Its signatures still stand."""
    from assistant.review.session.times import now_wall

    _accounts(home).close(name, now=now_wall())
    click.echo("Closed.", err=True)


@accounts.command("list")
@_HOME
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
def list_accounts(home: Path | None, as_json: bool) -> None:
    """Every account, without secrets."""
    import json

    found = _accounts(home).all()
    if as_json:
        click.echo(
            json.dumps(
                {
                    "accounts": [
                        {
                            "name": a.name,
                            "role": a.role,
                            "since": a.since,
                            "closed": a.closed,
                            "aliases": list(a.aliases),
                        }
                        for a in found
                    ]
                },
                ensure_ascii=False,
                sort_keys=True,
            )
        )
        return
    for a in found:
        also = f" (also {', '.join(a.aliases)})" if a.aliases else ""
        click.echo(
            f"{a.name}{also}: {a.role}, since {a.since[:10]}{', closed ' + a.closed[:10] if a.closed else ''}"
        )
    if not found:
        click.echo("Nobody has an account yet.", err=True)

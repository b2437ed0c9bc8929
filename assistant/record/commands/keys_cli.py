"""`assistant keys`: who may sign, and with what."""

from __future__ import annotations

import sys

import click

from assistant.errors import UsageError
from assistant.record.commands.shared import keys_root, print_json, wall_now
from assistant.record.signing.keys import KeyStore

_folder = click.option("--keys-folder", type=click.Path(file_okay=False), help="Where keys are kept.")
_json = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")


@click.group("keys")
def command() -> None:
    """Keys of named people, to approve procedures and sign records with."""


@command.command("create")
@click.argument("name")
@click.option("--role", default="", help="What the person is at the site, such as supervisor.")
@click.option("--passphrase-stdin", is_flag=True, help="Read the passphrase from standard input, one line.")
@_folder
@_json
def create(name: str, role: str, passphrase_stdin: bool, keys_folder: str | None, as_json: bool) -> int:
    """Make a key for NAME. The passphrase is asked for twice and is stored nowhere."""
    if passphrase_stdin:
        passphrase = sys.stdin.readline().rstrip("\n")
    elif sys.stdin.isatty():
        passphrase = click.prompt("Passphrase", hide_input=True, confirmation_prompt="Once more")
    else:
        raise UsageError("There is nobody to ask for a passphrase.", try_next="--passphrase-stdin")
    entry = KeyStore(keys_root(keys_folder)).create_key(name, passphrase, since=wall_now(), role=role)
    if as_json:
        print_json(entry.__dict__)
    else:
        click.echo(f"Key {entry.key_id} of {entry.name}. A lost passphrase can't be found again.")
    return 0


@command.command("list")
@_folder
@_json
def show(keys_folder: str | None, as_json: bool) -> int:
    """All public keys ever entered."""
    entries = KeyStore(keys_root(keys_folder)).registry()
    if as_json:
        print_json({"keys": [entry.__dict__ for entry in entries]})
        return 0
    for entry in entries:
        state = f"withdrawn {entry.withdrawn}" if entry.withdrawn else f"since {entry.since}"
        click.echo(f"{entry.key_id}  {entry.name}{f' ({entry.role})' if entry.role else ''}, {state}")
    if not entries:
        click.echo("No keys yet. Make one: assistant keys create NAME", err=True)
    return 0


@command.command("withdraw")
@click.argument("name")
@_folder
def withdraw(name: str, keys_folder: str | None) -> int:
    """From now on NAME's key signs nothing more. What it signed still stands."""
    entry = KeyStore(keys_root(keys_folder)).withdraw_key(name, wall_now())
    click.echo(f"Key {entry.key_id} of {entry.name} is withdrawn.")
    return 0

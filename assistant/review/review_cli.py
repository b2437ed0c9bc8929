"""`assistant review`: serve the supervisor's pages, or rebuild and check the register's index."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assistant.errors import FindingsError

if TYPE_CHECKING:
    from assistant.review.serving.desk import Desk


@click.command("review")
@click.option("--records", type=click.Path(path_type=Path, file_okay=False), help="Folder with the records.")
@click.option(
    "--home", type=click.Path(path_type=Path, file_okay=False), help="Folder for accounts, keys and index."
)
@click.option(
    "--procedures", type=click.Path(path_type=Path, file_okay=False), help="Folder with the site's files."
)
@click.option("--rules", type=click.Path(path_type=Path, dir_okay=False), help="The site's review rules.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on; others need TLS.")
@click.option("--port", type=click.IntRange(1, 65535), default=8740, show_default=True)
@click.option("--name", "names", multiple=True, help="A name this server is reached by (with --host).")
@click.option("--certificate", type=click.Path(path_type=Path), help="TLS certificate (PEM).")
@click.option("--key", type=click.Path(path_type=Path), help="Its private key (PEM).")
@click.option("--rebuild", is_flag=True, help="Make the register's index anew from the records, and stop.")
@click.option("--check", "check_index", is_flag=True, help="Hold the index against the records, and stop.")
@click.option("--practice-rule", type=click.Path(path_type=Path), help="The rule for signing trainees off. Default: sign_off.yaml in the evidence folder, or the one that comes with the program.")
@click.option("--evidence-folder", type=click.Path(path_type=Path), help="Folder of trainees' practice evidence.")
@click.option("--json", "as_json", is_flag=True, help="With --rebuild or --check: one JSON object on stdout.")
def review(
    records: Path | None,
    home: Path | None,
    procedures: Path | None,
    rules: Path | None,
    host: str,
    port: int,
    names: tuple[str, ...],
    certificate: Path | None,
    key: Path | None,
    rebuild: bool,
    check_index: bool,
    practice_rule: Path | None,
    evidence_folder: Path | None,
    as_json: bool,
) -> None:
    """The supervisor's pages: what needs a decision, what happened, signing, the board, the register."""
    from assistant.review.serving.places import home_folder, keys_folder, records_folder
    from assistant.review.serving.server import listen, require_safe_place, serve

    require_safe_place(host, certificate, key)
    from assistant.review.serving.desk import Desk, Setup
    from assistant.review.serving.wiring import SpeakAgain, practice_evidence

    desk = Desk(
        Setup(
            records_folder(records),
            home_folder(home),
            procedures,
            keys_folder(home),
            rules,
            hosts=(host, *names),
            tls=certificate is not None,
            speak=SpeakAgain(),
            evidence=practice_evidence(evidence_folder, practice_rule),
        )
    )
    if rebuild or check_index:
        _index_only(desk, rebuild, as_json)
        return
    listener = listen(host, port)  # before the records are read: a second start must not wait for that to be refused
    desk.refresh()
    scheme = "https" if certificate else "http"
    click.echo(f"Serving {desk.setup.records} at {scheme}://{host}:{port}/  (Ctrl-C ends it)", err=True)
    if not desk.accounts.all():
        click.echo("Nobody has an account yet: assistant accounts add NAME --role supervisor", err=True)
    serve(desk, listener, certificate=certificate, key=key)


def _index_only(desk: Desk, rebuild: bool, as_json: bool) -> None:
    count = desk.index.rebuild() if rebuild else desk.index.refresh()
    problems = desk.index.check()
    if as_json:
        json.dump(
            {"records_read": count, "problems": problems}, sys.stdout, ensure_ascii=False, sort_keys=True
        )
        sys.stdout.write("\n")
    else:
        click.echo(
            f"{count} records read; the index {'agrees with' if not problems else 'differs from'} them.",
            err=True,
        )
    if problems:
        raise FindingsError(
            "The index and the records differ.",
            expected="an index made from the records",
            try_next="assistant review --rebuild\n  " + "\n  ".join(problems[:20]),
        )

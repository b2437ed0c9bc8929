"""`assistant measure pages`: how quick the pages are on a large store, whether people can use them, how they
look.

Figures are of this machine in this run; `baseline_ms` is the same server's plainest page, measured in
between.
"""

from __future__ import annotations

import contextlib
import json
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import click

from tests.bench.review.board_viewers import VIEWERS
from tests.bench.review.figures import say
from tests.bench.review.looks import chromium_path, in_browser
from tests.bench.review.real_server import book_tracer, memory_mib, real_server, sign_in
from tests.bench.review.server_times import server_times

REQUESTS = 200


@click.command("pages")
@click.option("--sessions", default=10_000, show_default=True, type=click.IntRange(20, 100_000))
@click.option(
    "--requests", default=REQUESTS, show_default=True, type=click.IntRange(5, 10_000), help="Per page."
)
@click.option(
    "--screenshots", type=click.Path(path_type=Path, file_okay=False), help="Folder for the pictures."
)
@click.option(
    "--store",
    type=click.Path(path_type=Path, file_okay=False),
    help="Keep the seeded records here and use them again next time.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
def pages(sessions: int, requests: int, screenshots: Path | None, store: Path | None, as_json: bool) -> None:
    """Measure the supervisor's pages on a seeded store, run axe-core on them, and take pictures of each."""
    with contextlib.ExitStack() as stack:
        root = store or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="gauntlet-pages-")))
        shots = screenshots or Path(tempfile.gettempdir()) / "gauntlet-screenshots"
        found = _measure(root, sessions, requests, shots)
    if as_json:
        json.dump(found, sys.stdout, sort_keys=True, ensure_ascii=False)
        sys.stdout.write("\n")
    else:
        for name, value in found.items():
            say(f"{name}: {value if name != 'screenshots' else f'{len(value)} in {shots}'}")


def _measure(root: Path, sessions: int, requests: int, shots: Path) -> dict[str, Any]:
    long = _prepare(root, sessions)
    found: dict[str, Any] = {"not_measured": []}
    with real_server(root) as (url, process):
        import httpx

        with httpx.Client(base_url=url, timeout=60, headers={"accept": "text/html"}) as client:
            sign_in(client)
            found |= _facts(root)
            found |= server_times(client, root, requests, long)
            found["board_viewers"] = VIEWERS
            browser = chromium_path()
            if browser is None:
                found["not_measured"].append("no Chromium: nothing was opened in a browser")
                found |= {"interactive_s": None, "board_p95_ms": None, "axe_serious": None, "screenshots": []}
            else:
                found |= in_browser(browser, url, root, long, shots, client)
            found["server_memory_mib"] = memory_mib(process.pid)
    return found


def _prepare(root: Path, sessions: int) -> str:
    """Records, accounts and index; the name of the eight-hour session."""
    from tests.bench.review.generator import EPOCH
    from tests.bench.review.stage import make_accounts, make_desk
    from tests.bench.review.store import long_session, make_store, minute_session

    records = root / "records"
    if not records.is_dir():
        say(f"Making {sessions} sessions ...")
        began = time.monotonic()

        def told(count: int) -> None:
            if count % 500 == 0:
                say(f"  {count} after {time.monotonic() - began:.0f} s")

        make_store(records, sessions, quick=True, told=told)
        make_store(records, 3, seed=8, newest=EPOCH + timedelta(days=1), sound_for=2)
        long_session(records, 8.0, EPOCH + timedelta(days=2))
        make_accounts(root / "home")
    if not any(p.name.endswith("-minute") for p in (records / "gb-2").iterdir()):
        minute_session(records, EPOCH + timedelta(days=1, hours=8))
    if not (root / "trainees").is_dir():
        book_tracer(root)
    desk = make_desk(root)
    say("Reading them into the index ...")
    desk.index.refresh(lambda done, of: say(f"  {done} of {of}") if done % 1000 == 0 else None)
    desk.index.engine.dispose()
    return "gb-2/" + next(p.name for p in (records / "gb-2").iterdir() if p.name.endswith("-long"))


def _facts(root: Path) -> dict[str, int]:
    from sqlalchemy import func, select

    from assistant.review.register.index import Index, Row

    index = Index(root / "records", root / "home" / "register.sqlite")
    with index.db() as db:
        count, facts = db.execute(select(func.count(), func.sum(Row.facts))).one()
    index.engine.dispose()
    return {"sessions": int(count), "facts": int(facts or 0)}



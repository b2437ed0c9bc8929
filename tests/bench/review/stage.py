"""A whole site on a scratch folder: seeded records, four accounts, a server in a thread. For figures and
tests."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import uvicorn
from argon2 import PasswordHasher

from assistant.procedure.loading.source import default_folder
from assistant.record.signing.keys import Cost
from assistant.review.serving.app import create_app
from assistant.review.serving.desk import Desk, Setup

PASSPHRASE = "three plain words"
SUPERVISOR, TECHNICIAN, AUTHOR, READER = "R. Vane", "Ira Quill", "Noor Lind", "Wall screen"
TRAINEE = "mika"
WEAK_HASHER = PasswordHasher(time_cost=1, memory_cost=256, parallelism=1)
WEAK_COST = Cost(1, 256, 1)
SINCE = "2026-01-01T08:00:00+01:00"


def make_accounts(home: Path, *, weak: bool = True) -> None:
    """One account of each role, all with PASSPHRASE. `weak`: cheap hashes, so that tests don't wait."""
    from assistant.review.people.accounts import Accounts

    accounts = Accounts(home, hasher=WEAK_HASHER, cost=WEAK_COST) if weak else Accounts(home)
    for name, role in (
        (SUPERVISOR, "supervisor"),
        (TECHNICIAN, "technician"),
        (AUTHOR, "author"),
        (READER, "reader"),
    ):
        accounts.add(name, role, PASSPHRASE, since=SINCE)


def make_desk(
    root: Path,
    *,
    now: datetime | None = None,
    rules: Path | None = None,
    refresh_s: float = 1.0,
    index: Path | str | None = None,
    weak: bool = True,
) -> Desk:
    """A desk over `root`/records and `root`/home. `now`: what the pages take for the present, or None."""
    return Desk(
        Setup(
            root / "records",
            root / "home",
            default_folder(),
            None,
            rules,
            index=index,
            hasher=WEAK_HASHER if weak else None,
            key_cost=WEAK_COST if weak else None,
            wall=(lambda: now.astimezone(UTC)) if now else None,
            refresh_s=refresh_s,
        )
    )


@dataclass
class Served:
    """A running server. `url` without a slash at the end."""

    url: str
    desk: Desk
    server: uvicorn.Server


@contextlib.contextmanager
def served(desk: Desk, port: int = 0) -> Iterator[Served]:
    """Serve `desk` on loopback in a thread; port 0: any free one. Waits until it answers."""
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listener.bind(("127.0.0.1", port))
    config = uvicorn.Config(
        create_app(desk),
        log_level="warning",
        access_log=False,
        ws="none",
        timeout_graceful_shutdown=1,
        loop="asyncio",
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    try:
        deadline = time.monotonic() + 30
        while not server.started and thread.is_alive() and time.monotonic() < deadline:
            time.sleep(0.02)
        if not server.started:
            raise RuntimeError("the server didn't start")
        yield Served(f"http://127.0.0.1:{listener.getsockname()[1]}", desk, server)
    finally:
        server.should_exit = True
        thread.join(10)
        listener.close()

"""The real command in a process of its own, signed in to, and how much memory it took."""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from assistant.errors import GauntletError
from tests.bench.review.stage import TECHNICIAN, TRAINEE


@contextlib.contextmanager
def real_server(root: Path) -> Iterator[tuple[str, subprocess.Popen]]:
    """The real command in a process of its own, so that its memory is its own."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    code = "from assistant.review.review_cli import review; review()"
    arguments = ["--records", str(root / "records"), "--home", str(root / "home"), "--port", str(port)]
    arguments += ["--evidence-folder", str(root / "trainees")]
    process = subprocess.Popen(
        [sys.executable, "-c", code, *arguments], stderr=subprocess.DEVNULL, env=_environment()
    )
    try:
        deadline = time.monotonic() + 120
        while True:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                break
            if process.poll() is not None or time.monotonic() > deadline:
                raise GauntletError("The server did not start.", where=f"127.0.0.1:{port}")
            time.sleep(0.1)
        yield f"http://127.0.0.1:{port}", process
    finally:
        process.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(10)
        process.kill()


def book_tracer(root: Path) -> None:
    """Give the site a trainee with one tracer wipe, by the real command, so that the pages of practice show one. Raises
    GauntletError."""
    code = "from assistant.practice.practice_cli import practice; practice()"
    said = ["--trainee", TRAINEE, "--evidence-folder", str(root / "trainees"), "--tracer", TECHNICIAN, "passed"]
    made = subprocess.run(
        [sys.executable, "-c", code, *said], env=_environment(), capture_output=True, text=True, timeout=120
    )
    if made.returncode:
        raise GauntletError("No tracer wipe could be booked.", where=made.stderr[-300:])


def _environment() -> dict[str, str]:
    above = str(Path(__file__).resolve().parents[3])
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, (above, os.environ.get("PYTHONPATH"))))}


def sign_in(client: Any) -> None:
    """Sign the client in as the supervisor. Raises GauntletError."""
    import re

    from tests.bench.review.stage import PASSPHRASE, SUPERVISOR

    token = re.search(r'name="csrf" value="([^"]+)"', client.get("/sign-in").text)
    client.post("/sign-in", data={"csrf": token[1], "name": SUPERVISOR, "passphrase": PASSPHRASE})
    if client.get("/").status_code != 200:
        raise GauntletError("Signing in did not work.")


def memory_mib(pid: int) -> float | None:
    """The most memory the server held so far; None where the system doesn't tell."""
    with contextlib.suppress(OSError, ValueError, IndexError):
        for line in Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return round(int(line.split()[1]) / 1024, 1)
    return None

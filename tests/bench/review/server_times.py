"""The server's own time for each page."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from assistant.errors import GauntletError
from tests.bench.review.figures import p95, say


def server_times(client: Any, root: Path, requests: int, long: str) -> dict[str, Any]:
    """p95 of each page from asking to the last byte, one at a time, after a warming round over the same
    addresses."""
    names = sorted(p.name for p in (root / "records" / "gb-2").iterdir())[-22:]
    some = [f"/sessions/gb-2/{name}" for name in names if not name.endswith("-long")][:20]
    table: dict[str, Callable[[int], str]] = {
        "what needs me": lambda n: "/",
        "sessions": lambda n: f"/sessions?page={1 + n % 40}",
        "sessions, searched": lambda n: "/sessions?words=glove&state=open",
        "session": lambda n: some[n % len(some)],
        "state at an instant": lambda n: f"{some[n % len(some)]}/state?t={n * 5000}",
        "facts": lambda n: f"{some[n % len(some)]}/facts?page={1 + n % 3}",
        "said and heard": lambda n: f"{some[n % len(some)]}/said",
        "eight-hour session": lambda n: f"/sessions/{long}",
        "sign": lambda n: f"{some[n % len(some)]}/sign",
        "board": lambda n: "/board",
        "register": lambda n: "/register",
        "register of one": lambda n: "/register/gb-2",
        "calendar": lambda n: "/register/calendar.ics",
        "baseline": lambda n: "/sign-in",
    }
    times: dict[str, float] = {}
    for name, path in table.items():
        for n in range(min(25, requests)):
            client.get(path(n))
        taken = []
        for n in range(requests):
            began = time.perf_counter()
            answer = client.get(path(n))
            taken.append((time.perf_counter() - began) * 1000)
            if answer.status_code != 200:
                raise GauntletError(f"{path(n)} answered {answer.status_code}.")
        times[name] = round(p95(taken) or 0, 1)
        say(f"  {name}: p95 {times[name]} ms")
    baseline = times.pop("baseline")
    return {"pages_p95_ms": times, "server_p95_ms": max(times.values()), "baseline_ms": baseline}

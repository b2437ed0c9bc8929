"""`assistant measure pages`: how quick the pages are on a large store, whether people can use them, how they
look.

Figures are of this machine in this run; `baseline_ms` is the same server's plainest page, measured in
between.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import click

from assistant.errors import GauntletError

REQUESTS = 200
VIEWERS, SCREENS = 50, 3
EVENTS = 60
LOOKS = ("light", "dark", "greyscale", "print", "phone")


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
            _say(f"{name}: {value if name != 'screenshots' else f'{len(value)} in {shots}'}")


def _say(text: str) -> None:
    click.echo(text, err=True)


def p95(values: list[float]) -> float | None:
    """The 95th percentile by the nearest-rank method, or None for none."""
    if not values:
        return None
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, -(-len(ordered) * 95 // 100) - 1)]


def _measure(root: Path, sessions: int, requests: int, shots: Path) -> dict[str, Any]:
    long = _prepare(root, sessions)
    found: dict[str, Any] = {"not_measured": []}
    with _server(root) as (url, process):
        import httpx

        with httpx.Client(base_url=url, timeout=60, headers={"accept": "text/html"}) as client:
            _sign_in(client)
            found |= _facts(root)
            found |= _server_times(client, root, requests, long)
            found["board_viewers"] = VIEWERS
            browser = _chromium()
            if browser is None:
                found["not_measured"].append("no Chromium: nothing was opened in a browser")
                found |= {"interactive_s": None, "board_p95_ms": None, "axe_serious": None, "screenshots": []}
            else:
                found |= _in_browser(browser, url, root, long, shots, client)
            found["server_memory_mib"] = _memory_mib(process.pid)
    return found


def _prepare(root: Path, sessions: int) -> str:
    """Records, accounts and index; the name of the eight-hour session."""
    from assistant.review.measure.generator import EPOCH, long_session, make_store
    from assistant.review.measure.stage import make_accounts, make_desk

    records = root / "records"
    if not records.is_dir():
        _say(f"Making {sessions} sessions ...")
        began = time.monotonic()

        def told(count: int) -> None:
            if count % 500 == 0:
                _say(f"  {count} after {time.monotonic() - began:.0f} s")

        make_store(records, sessions, quick=True, told=told)
        make_store(records, 3, seed=8, newest=EPOCH + timedelta(days=1), sound_for=2)
        long_session(records, 8.0, EPOCH + timedelta(days=2))
        make_accounts(root / "home")
    desk = make_desk(root)
    _say("Reading them into the index ...")
    desk.index.refresh(lambda done, of: _say(f"  {done} of {of}") if done % 1000 == 0 else None)
    desk.index.engine.dispose()
    return "gb-2/" + next(p.name for p in (records / "gb-2").iterdir() if p.name.endswith("-long"))


@contextlib.contextmanager
def _server(root: Path) -> Iterator[tuple[str, subprocess.Popen]]:
    """The real command in a process of its own, so that its memory is its own."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    code = "from assistant.review.review_cli import review; review()"
    arguments = ["--records", str(root / "records"), "--home", str(root / "home"), "--port", str(port)]
    above = str(Path(__file__).resolve().parents[3])
    environment = {
        **os.environ,
        "PYTHONPATH": os.pathsep.join(filter(None, (above, os.environ.get("PYTHONPATH")))),
    }
    process = subprocess.Popen(
        [sys.executable, "-c", code, *arguments], stderr=subprocess.DEVNULL, env=environment
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


def _sign_in(client: Any) -> None:
    import re

    from assistant.review.measure.stage import PASSPHRASE, SUPERVISOR

    token = re.search(r'name="csrf" value="([^"]+)"', client.get("/sign-in").text)
    client.post("/sign-in", data={"csrf": token[1], "name": SUPERVISOR, "passphrase": PASSPHRASE})
    if client.get("/").status_code != 200:
        raise GauntletError("Signing in did not work.")


def _facts(root: Path) -> dict[str, int]:
    from sqlalchemy import func, select

    from assistant.review.index import Index, Row

    index = Index(root / "records", root / "home" / "register.sqlite")
    with index.db() as db:
        count, facts = db.execute(select(func.count(), func.sum(Row.facts))).one()
    index.engine.dispose()
    return {"sessions": int(count), "facts": int(facts or 0)}


def _server_times(client: Any, root: Path, requests: int, long: str) -> dict[str, Any]:
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
        _say(f"  {name}: p95 {times[name]} ms")
    baseline = times.pop("baseline")
    return {"pages_p95_ms": times, "server_p95_ms": max(times.values()), "baseline_ms": baseline}


def _chromium() -> str | None:
    named = os.environ.get("CHROMIUM_PATH")
    if named and Path(named).exists():
        return named
    return next(
        (found for name in ("chromium", "chromium-browser", "chrome") if (found := shutil.which(name))), None
    )


def _in_browser(executable: str, url: str, root: Path, long: str, shots: Path, client: Any) -> dict[str, Any]:
    from assistant.review.measure.browser import axe_findings, launched

    found: dict[str, Any] = {}
    cookies = [{"name": name, "value": value, "url": url} for name, value in client.cookies.items()]
    with launched(executable) as browser:
        context = browser.new_context(viewport={"width": 1366, "height": 900})
        context.add_cookies(cookies)
        page = context.new_page()
        times = []
        for _ in range(6):
            page.goto(f"{url}/sessions/{long}")
            page.wait_for_selector("#player[data-ready=yes]")
            times.append(page.evaluate("() => performance.getEntriesByName('ready')[0].startTime") / 1000)
        found["interactive_s"] = round(max(times[1:]), 3)  # the first warms the server up
        _say(f"  eight-hour session interactive after {found['interactive_s']} s")
        addresses = _addresses(root, long)
        serious: list[str] = []
        for name, path in addresses.items():
            page.goto(url + path)
            serious += [f"{name}: {line}" for line in axe_findings(page).serious]
        found["axe_serious"] = len(serious)
        for line in serious:
            _say(f"  axe: {line}")
        context.close()
        found |= _board(browser, url, root, cookies)
        found["screenshots"] = _pictures(browser, url, addresses, cookies, shots)
    return found


def _addresses(root: Path, long: str) -> dict[str, str]:
    heavy = _heaviest(root)
    return {
        "sign-in": "/sign-in",
        "what-needs-me": "/",
        "sessions": "/sessions",
        "no-sessions": "/sessions?words=nothing-fits",
        "session": f"/sessions/{heavy}",
        "session-eight-hours": f"/sessions/{long}",
        "sign": f"/sessions/{heavy}/sign",
        "board": "/board",
        "register": "/register",
        "register-enclosure": "/register/gb-2",
        "message": "/nowhere",
    }


def _heaviest(root: Path) -> str:
    from sqlalchemy import select

    from assistant.review.index import Index, Row

    index = Index(root / "records", root / "home" / "register.sqlite")
    with index.db() as db:
        found = db.scalar(
            select(Row.session)
            .where(Row.session.not_like("%-long"), Row.state == "sealed")
            .order_by(Row.weight.desc())
            .limit(1)
        )
    index.engine.dispose()
    return found


def _board(browser: Any, url: str, root: Path, cookies: list[dict[str, str]]) -> dict[str, Any]:
    """One live session, SCREENS real pages and the rest as bare streams; from the line's sync to the
    screen."""
    from assistant.review.measure.generator import Recorder, demo_site
    from assistant.review.measure.operator import Manner
    from assistant.review.measure.streams import Streams

    made = Recorder(
        root / "records",
        demo_site(),
        55,
        Manner(person="Dana Reyes"),
        datetime.now().astimezone(),
        session_id=f"live{os.getpid()}",
    )
    made.operator.begin()
    contexts, screens = [], []
    for _ in range(SCREENS):
        context = browser.new_context(viewport={"width": 1366, "height": 768})
        context.add_cookies(cookies)
        page = context.new_page()
        page.goto(url + "/board")
        page.wait_for_function("() => document.getElementById('link').textContent === 'Live'")
        page.evaluate(
            "() => { window.seen = {}; const b = document.getElementById('board');"
            " new MutationObserver(() => { const n = b.dataset.lines;"
            " if (!(n in seen)) requestAnimationFrame(() => { seen[n] ??= Date.now(); }); })"
            ".observe(b, { attributes: true, attributeFilter: ['data-lines'] }); }"
        )
        contexts.append(context)
        screens.append(page)
    written: dict[int, float] = {}
    with Streams(url, cookies, VIEWERS - SCREENS) as streams:
        for _ in range(EVENTS):
            made.operator.act()
            written[made.writer.count] = time.time() * 1000
            screens[0].wait_for_timeout(150)  # lets the pages draw while the next words are said
        screens[0].wait_for_timeout(1500)
        on_screen = [p.evaluate("() => seen") for p in screens]
        on_wire = streams.seen()
    made.writer.close()
    for context in contexts:
        context.close()
    screen_ms = [at - written[int(n)] for seen in on_screen for n, at in seen.items() if int(n) in written]
    wire_ms = [at - written[n] for seen in on_wire for n, at in seen.items() if n in written]
    result = {
        "board_p95_ms": _round(p95(screen_ms)),
        "board_stream_p95_ms": _round(p95(wire_ms)),
        "board_screens": SCREENS,
        "board_events": len(screen_ms),
    }
    _say(f"  board: {result}")
    return result


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def _pictures(
    browser: Any, url: str, addresses: dict[str, str], cookies: list[dict[str, str]], shots: Path
) -> list[str]:
    shots.mkdir(parents=True, exist_ok=True)
    taken = []
    for look in LOOKS:
        size = {"width": 390, "height": 844} if look == "phone" else {"width": 1366, "height": 900}
        context = browser.new_context(viewport=size, color_scheme="dark" if look == "dark" else "light")
        context.add_cookies(cookies)
        page = context.new_page()
        if look == "print":
            page.emulate_media(media="print")
        if look == "greyscale":
            context.new_cdp_session(page).send(
                "Emulation.setEmulatedVisionDeficiency", {"type": "achromatopsia"}
            )
        for name, path in addresses.items():
            page.goto(url + path)
            page.wait_for_timeout(150)
            file = shots / f"{name}-{look}.png"
            page.screenshot(path=file, full_page=True)
            taken.append(str(file))
        context.close()
    return taken


def _memory_mib(pid: int) -> float | None:
    """The most memory the server held so far; None where the system doesn't tell."""
    with contextlib.suppress(OSError, ValueError, IndexError):
        for line in Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return round(int(line.split()[1]) / 1024, 1)
    return None

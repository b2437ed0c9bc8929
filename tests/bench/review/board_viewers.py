"""Many viewers of one live session: how long from the line on disk to the screen."""

from __future__ import annotations

import os
import time
from datetime import datetime
from pathlib import Path
from typing import Any

from tests.bench.review.figures import p95, rounded, say

VIEWERS, SCREENS = 50, 12  # of the viewers, so many are pages in one real browser; the others are bare streams
EVENTS = 60


def board_times(browser: Any, url: str, root: Path, cookies: list[dict[str, str]]) -> dict[str, Any]:
    """One live session, SCREENS real pages and the rest as bare streams; from the line's sync to the
    screen."""
    from tests.bench.review.generator import Recorder, demo_site
    from tests.bench.review.operator import Manner
    from tests.bench.review.streams import Streams

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
        "board_p95_ms": rounded(p95(screen_ms)),
        "board_stream_p95_ms": rounded(p95(wire_ms)),
        "board_screens": SCREENS,
        "board_events": len(screen_ms),
    }
    say(f"  board: {result}")
    return result

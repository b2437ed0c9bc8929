"""The pages in a real browser: how soon one can be used, what axe-core finds, and pictures of each."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

from tests.bench.review.board_viewers import board_times
from tests.bench.review.figures import say
from tests.bench.review.stage import TRAINEE

_DESK = (1366, 900, 1)
# Width, height and scale. 200 % zoom is half the width in twice as many dots.
LOOKS = {
    "light": _DESK,
    "dark": _DESK,
    "greyscale": _DESK,
    "print": _DESK,
    "1024": (1024, 768, 1),
    "phone": (390, 844, 1),
    "zoom": (683, 450, 2),
}


def chromium_path() -> str | None:
    """The system's Chromium, or None."""
    named = os.environ.get("CHROMIUM_PATH")
    if named and Path(named).exists():
        return named
    return next(
        (found for name in ("chromium", "chromium-browser", "chrome") if (found := shutil.which(name))), None
    )


def in_browser(executable: str, url: str, root: Path, long: str, shots: Path, client: Any) -> dict[str, Any]:
    """Everything that needs a browser, as figures."""
    from tests.bench.review.browser import axe_findings, launched

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
        say(f"  eight-hour session interactive after {found['interactive_s']} s")
        addresses = _addresses(root, long)
        serious: list[str] = []
        for name, path in addresses.items():
            page.goto(url + path)
            serious += [f"{name}: {line}" for line in axe_findings(page).serious]
        found["axe_serious"] = len(serious)
        for line in serious:
            say(f"  axe: {line}")
        context.close()
        found |= board_times(browser, url, root, cookies)
        found["screenshots"] = pictures(browser, url, addresses, cookies, shots)
    return found


def _addresses(root: Path, long: str) -> dict[str, str]:
    heavy = _session(root)
    return {
        "sign-in": "/sign-in",
        "what-needs-me": "/",
        "sessions": "/sessions",
        "no-sessions": "/sessions?words=nothing-fits",
        "session": f"/sessions/{heavy}",
        "session-eight-hours": f"/sessions/{long}",
        "session-one-minute": f"/sessions/{_session(root, '%-minute')}",
        "facts": f"/sessions/{heavy}/facts",
        "said": f"/sessions/{heavy}/said",
        "sign": f"/sessions/{heavy}/sign",
        "board": "/board",
        "register": "/register",
        "register-enclosure": "/register/gb-2",
        "practice": "/practice",
        "practice-trainee": f"/practice/{TRAINEE}",
        "message": "/nowhere",
    }


def _session(root: Path, like: str = "%") -> str:
    """The heaviest sealed session whose name is like that."""
    from sqlalchemy import select

    from assistant.review.register.index import Index, Row

    index = Index(root / "records", root / "home" / "register.sqlite")
    with index.db() as db:
        found = db.scalar(
            select(Row.session)
            .where(Row.session.like(like), Row.session.not_like("%-long"), Row.state == "sealed")
            .order_by(Row.weight.desc())
            .limit(1)
        )
    index.engine.dispose()
    return found


def pictures(
    browser: Any, url: str, addresses: dict[str, str], cookies: list[dict[str, str]], shots: Path
) -> list[str]:
    """A picture of each page in each look; their paths."""
    shots.mkdir(parents=True, exist_ok=True)
    taken = []
    for look, size in LOOKS.items():
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            device_scale_factor=size[2],
            color_scheme="dark" if look == "dark" else "light",
        )
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

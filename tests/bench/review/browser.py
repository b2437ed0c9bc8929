"""A real browser for figures and tests: the system's Chromium through Playwright, and axe-core in its
pages."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import resources
from typing import Any

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
]


@contextlib.contextmanager
def launched(executable: str) -> Iterator[Any]:
    """A headless browser; closed at the end."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=executable, args=ARGUMENTS)
        try:
            yield browser
        finally:
            browser.close()


@dataclass(frozen=True)
class AxeFindings:
    """`serious`: serious and critical violations, one line each; `lesser`: the others; `rules_run`: how many
    rules ran."""

    serious: tuple[str, ...]
    lesser: tuple[str, ...]
    rules_run: int


def axe_findings(page: Any) -> AxeFindings:
    """Run axe-core (from the axe-playwright-python package) on the page as it stands."""
    source = (resources.files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
    # Evaluated through the debugging protocol, so that the page's own strict policy stays in force.
    page.evaluate(source + "\n;0")
    found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
    serious, lesser = [], []
    for violation in found["violations"]:
        places = "; ".join(str(node["target"][0]) for node in violation["nodes"][:4])
        line = f"{violation['id']}: {violation['help']} at {places}"
        (serious if violation["impact"] in ("serious", "critical") else lesser).append(line)
    ran = sum(len(found[kind]) for kind in ("violations", "passes", "incomplete", "inapplicable"))
    return AxeFindings(tuple(serious), tuple(lesser), ran)

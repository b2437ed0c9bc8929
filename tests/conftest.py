"""What every test shares: the long parts stay out unless asked for, nothing litters the checkout, and
whatever this machine couldn't measure is said loudly at the end of the run."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from tests import long_parts, machine

ROOT = Path(__file__).resolve().parent.parent

# Tests that start `python -m assistant` in a process of its own use the Python they run in; without this a
# developer's own environment would make the launcher build another one.
os.environ.setdefault("GAUNTLET_USE_THIS_PYTHON", "1")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--full", action="store_true", help="also run the long parts (marked full)")


def pytest_configure(config: pytest.Config) -> None:
    # Only here, so that a run without property tests needn't import hypothesis first.
    from hypothesis import HealthCheck, settings
    from hypothesis.configuration import set_hypothesis_home_dir

    set_hypothesis_home_dir(machine.scratch_folder(ROOT) / "hypothesis")
    slow = [HealthCheck.too_slow]  # two busy cores are no finding
    settings.register_profile("default", derandomize=True, deadline=None, suppress_health_check=slow)
    settings.register_profile("full", derandomize=True, deadline=None, max_examples=1000,
                              suppress_health_check=slow)
    settings.load_profile("full" if config.getoption("--full") else "default")


def pytest_sessionstart(session: pytest.Session) -> None:
    config = session.config
    terminal = config.pluginmanager.get_plugin("terminalreporter")  # not there yet when plugins are configured
    if config.getoption("--full") and terminal and not hasattr(config, "workerinput"):
        config.pluginmanager.register(long_parts.Progress(terminal), "long-parts")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not config.getoption("--full"):
        long_ones = [item for item in items if item.get_closest_marker("full")]
        if long_ones:
            config.hook.pytest_deselected(items=long_ones)
            items[:] = [item for item in items if not item.get_closest_marker("full")]
    else:
        long_parts.longest_first(items)
    if machine.chromium() is None:
        skip = pytest.mark.skip(reason="not measured here: no Chromium to open the pages in")
        for item in items:
            if item.get_closest_marker("browser"):
                item.add_marker(skip)


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """The browser's executable; the test is skipped, and named at the end, where there is none."""
    found = machine.chromium()
    if found is None:
        machine.not_measured("no Chromium to open the pages in")
    return found


def pytest_terminal_summary(terminalreporter, exitstatus: int, config: pytest.Config) -> None:
    """The list of what was not measured; a copy as JSON for `selftest --json`, which asks by environment."""
    reasons = list(machine.missing())
    for report in terminalreporter.stats.get("skipped", []):
        reasons.append(machine.skip_reason(report))
    for outcome in ("passed", "failed", "skipped"):
        for report in terminalreporter.stats.get(outcome, []):
            reasons += [str(value) for name, value in getattr(report, "user_properties", [])
                        if name == machine.NOT_MEASURED]
    if not config.getoption("--full"):
        reasons.append("the long parts (selftest --full runs them)")
    reasons = list(dict.fromkeys(reasons))
    for reason in reasons:
        terminalreporter.write_line(f"NOT MEASURED HERE: {reason}", yellow=True, bold=True)
    wanted = os.environ.get("GAUNTLET_SELFTEST_REPORT")
    if wanted and not hasattr(config, "workerinput"):
        counts = {name: len(terminalreporter.stats.get(name, []))
                  for name in ("passed", "failed", "error", "skipped", "deselected", "xfailed", "xpassed")}
        report = {"exit_code": int(exitstatus), "counts": counts, "skipped": reasons}
        Path(wanted).write_text(json.dumps(report), encoding="utf-8")

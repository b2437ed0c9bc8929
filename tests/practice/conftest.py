"""Plans of the site's own procedures, loaded once."""

from __future__ import annotations

import pytest

from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.station.live.setup import prepare


@pytest.fixture(scope="session")
def plan():
    return compile_plan(load_procedure("gb-2-light-clean"))


@pytest.fixture(scope="session")
def short_plan():
    return compile_plan(load_procedure("gb-2-end-of-day"))


@pytest.fixture(scope="session")
def under_surface():
    """The procedure that has a patch test."""
    return compile_plan(load_procedure("pi-1-under-work-surface"))


@pytest.fixture(scope="session")
def ready():
    return prepare("gb-2-light-clean")

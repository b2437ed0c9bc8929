"""A small site for the pages' tests: seeded records, four accounts with cheap hashes, a client, a server."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from assistant.review.app import create_app
from assistant.review.desk import Desk
from assistant.review.index import Row
from assistant.review.measure.generator import EPOCH, make_store
from assistant.review.measure.stage import PASSPHRASE, SUPERVISOR, make_accounts, make_desk

NOW = EPOCH + timedelta(days=1)


@pytest.fixture(scope="session")
def template_site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six sessions, made once; never written to."""
    root = tmp_path_factory.mktemp("site")
    make_store(root / "records", 6, seed=4, sound_for=1)
    make_accounts(root / "home")
    return root


@pytest.fixture
def site(template_site: Path, tmp_path: Path) -> Path:
    """A copy that a test may change."""
    root = tmp_path / "site"
    shutil.copytree(template_site, root)
    return root


@pytest.fixture
def desk(site: Path) -> Desk:
    found = make_desk(site, now=NOW)
    found.refresh()
    return found


@pytest.fixture(scope="session")
def shared_desk(template_site: Path, tmp_path_factory: pytest.TempPathFactory) -> Desk:
    """For tests that only read."""
    root = tmp_path_factory.mktemp("shared") / "site"
    shutil.copytree(template_site, root)
    found = make_desk(root, now=NOW)
    found.refresh()
    return found


class Browser(TestClient):
    """A client that keeps cookies and knows the forms' tokens; bugs in handlers raise."""

    def sign_in(self, name: str = SUPERVISOR, passphrase: str = PASSPHRASE):
        """Through the form, as a person would."""
        return self.submit("/sign-in", {"name": name, "passphrase": passphrase})

    def submit(self, path: str, values: dict[str, str], *, page: str = ""):
        """Post a form with the token of the page it stands on."""
        token = re.search(r'name="csrf" value="([^"]+)"', self.get(page or path).text)
        return self.post(path, data={"csrf": token[1] if token else "", **values}, follow_redirects=False)


def browser(desk: Desk) -> Browser:
    return Browser(create_app(desk), base_url="http://localhost", headers={"accept": "text/html"})


@pytest.fixture
def client(desk: Desk) -> Iterator[Browser]:
    yield browser(desk)


def rows(desk: Desk) -> list[Row]:
    """Every indexed session, the heaviest first."""
    with desk.index.db() as db:
        found = list(db.scalars(select(Row).order_by(Row.weight.desc())))
        db.expunge_all()
    return found


def session_path(row: Row) -> str:
    return f"/sessions/{row.session}"

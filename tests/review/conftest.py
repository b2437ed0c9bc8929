"""A small site for the pages' tests: seeded records, four accounts with cheap hashes, a client, a server."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from assistant.practice.evidence.signoff import Session, Tracer, TraineeFile, record_digest
from assistant.procedure.model.plan import WET
from assistant.review.register.index import Row
from assistant.review.serving.app import create_app
from assistant.review.serving.desk import Desk
from assistant.review.serving.wiring import practice_evidence
from assistant.session.lookup import step_of
from assistant.session.state import State
from tests.bench.review.generator import EPOCH, Recorder, demo_site, write_sound
from tests.bench.review.operator import Manner, Operator
from tests.bench.review.stage import PASSPHRASE, SUPERVISOR, make_accounts, make_desk
from tests.bench.review.store import make_store

NOW = EPOCH + timedelta(days=1)
RULE = "id: small\ntitle: Small rule\nassessments_in_a_row: 1\ntracer_wipe: yes\n"


class Clumsy(Operator):
    """Drops something at the first wall, once, and works on calmly: complete, with one mishap, whatever the
    seeds."""

    dropped = False

    def _in_step(self, state: State) -> None:
        step = step_of(self.plan, state)
        if not self.dropped and step is not None and step.kind == WET:
            self.dropped = True
            self._misheard()
            self._word("dropped_item")
            return
        super()._in_step(state)


def clumsy_session(records: Path) -> Path:
    """One complete live session with a mishap in it, with sound and clips; the first of its technician's
    day."""
    calm = Manner(0, 0, 0, 0, 0, 0, 0, person="Dana Reyes")
    made = Recorder(
        records, demo_site(), 6, calm, EPOCH - timedelta(hours=3), session_id="clumsy", clips=True
    )
    clips = made.operator._keep_clip
    made.operator = Clumsy(made.site.plan, 6, calm, made._decided, keep_clip=clips)
    made.finish(4 * 3600_000)
    write_sound(made.folder, made.facts, made.writer.t_ms)
    return made.folder


def practise(desk: Desk, root: Path) -> Path:
    """Give the desk's evidence a trainee with one assessment and one tracer wipe; their folder."""
    folder = root / "trainees" / "mika-lund"
    made = Recorder(root / "practised", demo_site(), 3, Manner(person="Mika Lund"), EPOCH, kind="practice")
    record = made.finish(200_000)
    file = TraineeFile(folder)
    file.add(
        Session(str(record), record_digest(record), "2026-03-01", "gb-2-light-clean", "assessment", "complete", 93, 0)
    )
    file.add_tracer(Tracer("Ira Quill", "2026-03-01", True, "<script>alert(1)</script>"))
    rule = root / "rule.yaml"
    rule.write_text(RULE, encoding="utf-8")
    port = practice_evidence(root / "trainees", rule, lambda: date(2026, 3, 2))
    desk.setup = replace(desk.setup, evidence=port)
    return folder


@pytest.fixture(scope="session")
def template_site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six sessions, made once; never written to."""
    root = tmp_path_factory.mktemp("site")
    make_store(root / "records", 5, seed=4)
    clumsy_session(root / "records")
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


def clumsy(desk: Desk) -> Row:
    """The session that surely holds a mishap, sound and a refused word with its clip."""
    return next(r for r in rows(desk) if r.session.endswith("clumsy"))


def session_path(row: Row) -> str:
    return f"/sessions/{row.session}"

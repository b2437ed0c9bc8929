"""The approval a live session ran under lies beside its record, named by the first line."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from assistant.procedure.approval import Approval, Statement, state
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.record.verify import verify
from assistant.station.live import approval
from assistant.station.live import session as live
from assistant.station.live.session import LiveChoices, run_live
from assistant.station.live.setup import shipped_folder
from assistant.station.loop.recovering import take_up
from tests.station.live_fakes import Stage

PROCEDURE = "gb-2-light-clean"


@pytest.fixture
def session(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of a live session of an approved procedure, safely stopped after a minute."""
    key = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))

    def approved(plan):
        said = state(plan, name="A. Supervisor", key_id="k1", at="2026-01-01T00:00:00Z", check="clean", proof="proven")
        return Approval(said, key.public_key().public_bytes_raw().hex(), key.sign(said.message()).hex(), {})

    monkeypatch.setattr(approval, "is_approved", approved)
    stage = Stage(stop_ms=60_000)
    monkeypatch.setattr(live, "open_screen", stage.open_screen)
    run_live(
        PROCEDURE, LiveChoices(technician="Ada", records=tmp_path, folder=shipped_folder(), with_keys=True, no_voice_in=True),
        stage.devices(),
    )
    return next(tmp_path.glob("*/*/record.jsonl")).parent


def test_the_approval_is_kept_beside_the_record_and_its_signature_holds(session: Path) -> None:
    assert verify(session).complete
    held = json.loads((session / "approvals" / f"{PROCEDURE}.json").read_bytes())
    told = json.loads((session / "record.jsonl").read_bytes().splitlines()[0])["data"]
    assert held["statement"]["sha256"] == told["procedure"]["sha256"]
    public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(held["public_key"]))
    public.verify(bytes.fromhex(held["signature"]), Statement(**held["statement"]).message())


def test_a_changed_or_missing_approval_is_found(session: Path) -> None:
    path = session / "approvals" / f"{PROCEDURE}.json"
    path.write_bytes(path.read_bytes().replace(b"A. Supervisor", b"B. Supervisor"))
    assert any("isn't a file that the record names" in problem for problem in verify(session).problems)
    path.unlink()
    assert any("is missing" in problem for problem in verify(session).problems)


def test_a_crash_before_the_copies_were_made_is_made_up_for(session: Path) -> None:
    record = session / "record.jsonl"
    record.write_bytes(record.read_bytes().splitlines(keepends=True)[0])
    for name in ("approvals", "site"):
        shutil.rmtree(session / name)
    shutil.rmtree(session.parent.parent / "_witness")
    loaded = load_procedure(PROCEDURE, shipped_folder())
    take_up(session, loaded, wall="2026-01-05T10:00:00.000Z", owner="Ada").writer.close()
    assert verify(session).problems == []
    assert compile_plan(loaded).sha256.encode() in (session / "approvals" / f"{PROCEDURE}.json").read_bytes()

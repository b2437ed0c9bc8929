"""Sessions of every finished version of the core's rules: today's core must fold them to the state they sealed."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from assistant.account.deep import fold_deep
from assistant.record.reader import read_record
from assistant.record.verify import deep_verify, verify
from assistant.session.rules import RULES_VERSION

SESSIONS = sorted(
    path.parent for path in (Path(__file__).parents[1] / "golden" / "records").glob("*/record.jsonl")
)


@pytest.mark.parametrize("golden", SESSIONS, ids=lambda path: path.name)
def test_a_session_of_an_older_version_still_replays(golden: Path, tmp_path: Path):
    folder = tmp_path / "gb-2" / golden.name
    shutil.copytree(golden, folder)
    assert verify(folder).complete
    record = read_record(folder)
    assert record.seal and record.seal.data["state_sha256"]
    problems = deep_verify(record, fold_deep)
    assert problems == [], "changed decisions need another RULES_VERSION" if record.rules == RULES_VERSION else ""

"""`run --script`, end to end: a record of its own kind that replays, and never passes for live work."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from assistant.account.reading import load_session
from assistant.account.rederiving import rederive
from assistant.cli import main
from assistant.record.verify import verify
from assistant.session import decide, evolve, initial, inputs
from assistant.station.live.setup import prepare, shipped_folder
from assistant.station.loop.recovering import find_open
from assistant.station.script.script import NAMES
from tests.bench.station.policy import Policy

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(autouse=True)
def _at_the_top(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)


@pytest.fixture(scope="module")
def script(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A whole clean, written down input by input."""
    plan = prepare("gb-2-light-clean", folder=shipped_folder()).plan
    state, policy, names = initial(plan), Policy("script"), {cls: name for name, cls in NAMES.items()}
    at, given, rows = 0, inputs.Begin("Ada"), []
    while not state.verdict and len(rows) < 5_000:
        rows.append({"at_ms": at, "input": names[type(given)], **{
            name: getattr(given, name) for name in given.__dataclass_fields__}})
        for fact in decide(plan, state, given, at):
            state = evolve(state, fact)
        at, given = policy.next(plan, state)
    path = tmp_path_factory.mktemp("script") / "clean.jsonl"
    path.write_text("".join(json.dumps(row) + "\n" for row in rows))
    return path


def test_a_script_runs_to_a_record_that_replays_to_the_same_end(script: Path, tmp_path: Path, capsys) -> None:
    assert main(["run", "gb-2-light-clean", "--script", str(script), "--records", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert "verdict complete" in out and "\x1b" not in out
    folder = next(tmp_path.glob("*/*/record.jsonl")).parent
    assert verify(folder).complete
    assert main(["replay", "--json", str(folder)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["kind"] == "script" and told["verdict"] == "complete" and told["holds"] and told["sealed"]
    assert rederive(load_session(folder)) == []


def test_the_same_script_gives_the_same_facts(script: Path, tmp_path: Path, capsys) -> None:
    found = set()
    for name in ("one", "two"):
        assert main(["run", "gb-2-light-clean", "--script", str(script), "--records", str(tmp_path / name)]) == 0
        capsys.readouterr()
        assert main(["replay", "--json", str(next((tmp_path / name).glob("*/*/record.jsonl")).parent)]) == 0
        found.add(json.loads(capsys.readouterr().out)["facts_sha256"])
    assert len(found) == 1


def test_a_script_is_never_taken_for_live_work(script: Path, tmp_path: Path, capsys) -> None:
    part = tmp_path / "part.jsonl"
    rows = script.read_text().splitlines()[:40]
    part.write_text("\n".join(row.replace('"kind": "script"', '"kind": "live"') for row in rows) + "\n")
    main(["run", "gb-2-light-clean", "--script", str(part), "--records", str(tmp_path / "r")])
    capsys.readouterr()
    folder = next((tmp_path / "r").glob("*/*/record.jsonl")).parent
    opened = load_session(folder)
    assert {line.record for line in opened.record.lines} == {"script"}
    assert opened.state().kind == "script"  # whatever the script itself claims
    assert find_open(tmp_path / "r", opened.plan) is None

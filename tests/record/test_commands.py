"""The record's commands on a session that the real core decided."""

from __future__ import annotations

import errno
import io
import json
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from assistant.errors import FindingsError, RecordError, RefusedError, ReplayMismatchError, UsageError
from assistant.record.commands import keys_cli, transcribe_cli
from assistant.record.recover import recover
from assistant.record.site_log import SiteLog
from assistant.record.storage.paths import root_of_session
from assistant.station.account.replay_cli import replay
from assistant.station.commands import export_cli, tag_cli, verify_cli
from tests.bench.record import command as measure
from tests.bench.record.sessions import core_record
from tests.record.support import WALL, new_record, sealed_record, spoken

Run = Callable[..., Any]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command; its standard output, as one JSON object where --json is given."""

    def go(command: Any, *words: object) -> Any:
        code = command.main([str(word) for word in words], standalone_mode=False)
        out = capsys.readouterr().out
        assert code in (0, None)
        return json.loads(out) if "--json" in words else out

    return go


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return core_record(tmp_path_factory.mktemp("core"), 60)


def test_verify_deep_says_whole_sealed_and_replayed(run: Run, session: Path):
    assert "WHOLE AND SEALED" in run(verify_cli.command, session, "--deep")
    found = run(verify_cli.command, session / "record.jsonl", "--deep", "--json")
    assert found["ok"] and found["records"][0]["deep"] is True and found["records"][0]["complete"]


def test_verify_deep_finds_facts_that_the_core_would_not_have_decided(
    run: Run, session: Path, tmp_path: Path
):
    """A record chained and sealed by the rules, but with a fact made up: only the replay tells."""
    from assistant.record.reader import read_record
    from assistant.record.writer import create_record

    held = read_record(session)
    forged = create_record(
        tmp_path,
        held.header,
        held.kind,
        enclosure="GB-2",
        stamp="20260314T091500Z",
        session_id="forged",
        rules=held.rules,
        wall=WALL,
    )
    for line, fact in held.facts():
        if fact["kind"] == "line_spoken" and line.seq > 20:
            fact = {**fact, "data": {**fact["data"], "text": "All surfaces are dry."}}
        forged.append([fact], line.t_ms, line.wall)
    seal = held.seal
    assert seal and forged.folder
    forged.seal(seal.t_ms, WALL, verdict=seal.data["verdict"], state_sha256=seal.data["state_sha256"])
    shutil.copytree(session / "site", forged.folder / "site")
    assert run(verify_cli.command, forged.folder, "--json")["ok"]
    with pytest.raises(ReplayMismatchError, match="Deep"):
        run(verify_cli.command, forged.folder, "--deep")


def test_verify_names_the_first_bad_line_and_an_unsealed_record_has_a_code_of_its_own(
    run: Run, tmp_path: Path
):
    folder = sealed_record(tmp_path)
    path = folder / "record.jsonl"
    path.write_bytes(path.read_bytes().replace(b"Step 2", b"Step 9"))
    with pytest.raises(RecordError, match="Line 5") as caught:
        run(verify_cli.command, folder)
    assert caught.value.exit_code == 7
    writer = new_record(tmp_path, session_id="s2")
    with pytest.raises(FindingsError) as open_one:
        run(verify_cli.command, writer.folder)
    assert open_one.value.exit_code == 1
    with pytest.raises(UsageError):
        run(verify_cli.command)
    with pytest.raises(RecordError):
        run(verify_cli.command, tmp_path / "nothing" / "here")


def _nothing_there(place: Path) -> None:
    return None


def _other_folder(place: Path) -> None:
    (place / "inner").mkdir(parents=True)
    (place / "notes.txt").write_text("no record")


def _empty_file(place: Path) -> None:
    place.write_bytes(b"")


def _pdf(place: Path) -> None:
    place.write_bytes(b"%PDF-1.7\n\0\xff\x1b[2J")


def _empty_record(place: Path) -> None:
    place.mkdir()
    (place / "record.jsonl").write_bytes(b"")


def _pdf_record(place: Path) -> None:
    place.mkdir()
    _pdf(place / "record.jsonl")


def _folder_for_a_file(place: Path) -> None:
    (place / "record.jsonl").mkdir(parents=True)


def _zeros(place: Path) -> None:
    place.write_bytes(bytes(5000))


WRONG = [_nothing_there, _other_folder, _empty_file, _pdf, _empty_record, _pdf_record, _folder_for_a_file, _zeros]


@pytest.mark.parametrize("make", WRONG)
@pytest.mark.parametrize("name", ["verify", "export", "tag", "replay", "transcribe"])
def test_what_is_no_record_is_one_clear_finding_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], make: Callable[[Path], None], name: str
):
    place, out = tmp_path / "given", tmp_path / "out"
    make(place)
    (tmp_path / "rows.csv").write_text("happened,text\n2026-03-14T09:00:00Z,Wiped.\n")
    (tmp_path / "scan.pdf").write_bytes(b"%PDF")
    command, words = {
        "verify": (verify_cli.command, []),
        "export": (export_cli.command, ["--to", out]),
        "tag": (tag_cli.command, ["--to", out / "tag.pdf"]),
        "replay": (replay, []),
        "transcribe": (
            transcribe_cli.command,
            [tmp_path / "rows.csv", "--scan", tmp_path / "scan.pdf", "--author", "A", "--transcriber", "B", "--into"],
        ),
    }[name]
    with pytest.raises(RecordError) as caught:
        command.main([str(w) for w in ([*words, place] if name == "transcribe" else [place, *words])], standalone_mode=False)
    error = caught.value
    assert error.exit_code == 7 and str(place) in error.where
    assert error.expected or error.try_next
    assert capsys.readouterr().out == ""  # what was found is said once, by the error
    assert not out.exists()


@pytest.mark.parametrize("name", ["verify", "export", "tag", "replay"])
def test_a_record_that_may_not_be_read_is_told_with_what_to_try(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], name: str
):
    """Permissions are refused here by a stand-in, since tests may run as somebody who may read everything."""
    folder = sealed_record(tmp_path)
    real = os.open

    def refused(path: object, *args: Any, **named: Any) -> int:
        if str(path).endswith("record.jsonl"):
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return real(path, *args, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "open", refused)
    command = {
        "verify": verify_cli.command, "export": export_cli.command, "tag": tag_cli.command, "replay": replay,
    }[name]  # fmt: skip
    with pytest.raises(RecordError, match="Permission denied") as caught:
        command.main([str(folder)], standalone_mode=False)
    assert "record.jsonl" in caught.value.where and caught.value.expected and "Ask" in caught.value.try_next


def test_a_file_beside_a_record_does_not_stand_for_it(tmp_path: Path):
    writer = new_record(tmp_path)
    writer.append([spoken()], 1, WALL)
    writer.close()
    (writer.folder / "notes.txt").write_text("beside")
    before = (writer.folder / "record.jsonl").read_bytes()
    with pytest.raises(RecordError, match="no record here"):
        recover(writer.folder / "notes.txt", wall=WALL)
    assert (writer.folder / "record.jsonl").read_bytes() == before


def test_verify_site_finds_a_record_that_is_gone_and_prints_a_statement(run: Run, tmp_path: Path):
    folders = [sealed_record(tmp_path, session_id=name) for name in ("a", "b")]
    page = run(verify_cli.command, "--site", tmp_path, "--statement")
    assert "Witness statement" in page and SiteLog(tmp_path).check().root[:8] in page
    shutil.rmtree(folders[0])
    with pytest.raises(RecordError, match="gone"):
        run(verify_cli.command, "--site", tmp_path)


def test_a_hostile_whole_record_makes_deep_verification_a_finding_and_no_crash(run: Run, tmp_path: Path):
    writer = new_record(tmp_path, "script")
    writer.append([spoken("\x1b[2J"), {"kind": "heard", "v": 1, "data": {"at_ms": "x"}}], 1, WALL)
    writer.seal(2, WALL, verdict="\x1b]0;x\x07")
    assert "\x1b" not in run(verify_cli.command, writer.folder)
    (writer.folder / "site").mkdir()
    with pytest.raises(ReplayMismatchError, match="can't be folded"):
        run(verify_cli.command, writer.folder, "--deep")


def test_export_writes_report_facts_archive_and_the_witness_root(run: Run, session: Path, tmp_path: Path):
    copy = tmp_path / "records" / "GB-2" / session.name
    shutil.copytree(session, copy)
    SiteLog(root_of_session(copy)).note("x", "GB-2/x", 1, "a" * 64, WALL)
    out = tmp_path / "out"
    found = run(export_cli.command, copy, "--to", out, "--page", "both", "--json")
    kinds = sorted(path.name.rsplit(session.name)[1] for path in out.iterdir())
    assert kinds == ["-facts.csv", "-report-a4.pdf", "-report-letter.pdf", "-witness.txt", ".zip"]
    assert found["witness_root"] == SiteLog(root_of_session(copy)).check().root
    first = {path.name: path.read_bytes() for path in out.iterdir() if "witness" not in path.name}
    run(export_cli.command, copy, "--to", out, "--page", "both")
    assert first == {path.name: path.read_bytes() for path in out.iterdir() if "witness" not in path.name}


def test_tag_prints_the_label_and_writes_a_page(run: Run, session: Path, tmp_path: Path):
    found = run(tag_cli.command, session, "--json")
    assert found["status"] == "SCRIPT: nothing was cleaned" and found["seal"] in found["code"]
    assert "This is not a beyond-use date." in run(tag_cli.command, session)
    run(tag_cli.command, session, "--to", tmp_path / "label.pdf")
    assert (tmp_path / "label.pdf").read_bytes()[:5] == b"%PDF-"


def test_keys_are_made_listed_and_withdrawn(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    for _ in range(2):
        monkeypatch.setattr(sys, "stdin", io.StringIO("anchor velvet thirteen\n"))
        words = ("create", "S. Supervisor", "--passphrase-stdin", "--keys-folder", tmp_path)
        if not (tmp_path / "public_keys.json").exists():
            assert run(keys_cli.command, *words, "--json")["name"] == "S. Supervisor"
        else:
            with pytest.raises(RefusedError):
                run(keys_cli.command, *words)
    assert "S. Supervisor" in run(keys_cli.command, "list", "--keys-folder", tmp_path)
    run(keys_cli.command, "withdraw", "S. Supervisor", "--keys-folder", tmp_path)
    assert run(keys_cli.command, "list", "--keys-folder", tmp_path, "--json")["keys"][0]["withdrawn"]
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    with pytest.raises(UsageError):
        run(keys_cli.command, "create", "A", "--keys-folder", tmp_path)


def test_paper_is_entered_as_a_record_of_its_own_or_into_an_open_one(run: Run, tmp_path: Path):
    (tmp_path / "e.csv").write_text("happened,text\n,Wiped.\n")
    (tmp_path / "s.pdf").write_bytes(b"%PDF")
    names = ("--author", "T. Technician", "--transcriber", "C. Clerk", "--scan", tmp_path / "s.pdf", "--json")
    made = run(
        transcribe_cli.command, tmp_path / "e.csv", "--enclosure", "GB-2", "--records", tmp_path / "r", *names
    )
    checked = run(verify_cli.command, made["record"], "--deep", "--json")
    assert checked["ok"] and made["entries"] == 1
    writer = new_record(tmp_path / "r")
    writer.close()
    run(transcribe_cli.command, tmp_path / "e.csv", "--into", writer.folder, *names)
    with pytest.raises(UsageError):
        run(transcribe_cli.command, tmp_path / "e.csv", *names)


def test_measure_gives_every_promised_figure(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    small = {"APPENDS": 20, "RUNS": 1, "FACTS": 40, "RECORDS": 12, "TAMPERINGS": 20, "KILLS": 1}
    for name, value in small.items():
        monkeypatch.setattr(measure, name, value)
    found = run(measure.record, "--folder", tmp_path, "--json")
    promised = {
        "append_p50_ratio",
        "append_p99_ratio",
        "verify_20k_s",
        "deep_20k_s",
        "store_open_s",
        "tamperings",
        "missed",
        "kills",
        "lost",
    }
    assert promised <= set(found) and (found["missed"], found["lost"], found["kill_problems"]) == (0, 0, 0)
    assert list(tmp_path.iterdir()) == []


def test_a_signature_after_its_keys_withdrawal_is_a_finding(run: Run, tmp_path: Path):
    from assistant.record.signing.keys import Cost, KeyStore
    from assistant.record.signing.signatures import sign_record

    keys = KeyStore(tmp_path / "keys", cost=Cost(1, 64, 1))
    keys.create_key("S. Supervisor", "anchor velvet thirteen", since="2026-03-01T08:00:00+01:00")
    key = keys.unlock("S. Supervisor", "anchor velvet thirteen")
    folder = sealed_record(tmp_path / "r")
    sign_record(folder, key, meaning="reviewed", wall="2026-03-14T10:00:00+01:00")
    keys.withdraw_key("S. Supervisor", "2026-03-20T00:00:00Z")
    assert run(verify_cli.command, folder, "--keys-folder", tmp_path / "keys", "--json")["ok"]
    sign_record(folder, key, meaning="released", wall="2026-03-20T01:00:01+01:00")
    with pytest.raises(RecordError, match="after its key was withdrawn"):
        run(verify_cli.command, folder, "--keys-folder", tmp_path / "keys")

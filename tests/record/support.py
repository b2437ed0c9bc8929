"""What the record's tests share: made-up sessions, keys that are no secret, a file system that fails on
cue."""

from __future__ import annotations

import errno
import hashlib
import os
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from assistant.record.beside.attached import attach_file
from assistant.record.beside.clips import ClipPolicy, ClipStore
from assistant.record.recover import recover
from assistant.record.signing.keys import PublicKey, UnlockedKey, key_id_of
from assistant.record.storage.files import OsFiles
from assistant.record.transcribe import PaperEntry, transcribe
from assistant.record.writer import RecordWriter, create_record

WALL = "2026-03-14T09:15:00.000+01:00"
HEADER = {
    "technician": "T. Technician",
    "site": "Northmere Veterinary Oncology",
    "enclosure": "GB-2",
    "procedure": "light clean",
    "revision": 3,
}


def spoken(text: str = "Wipe the ceiling.") -> dict:
    """A fact as the core hands it over."""
    return {"kind": "spoken", "v": 1, "data": {"text": text}}


def heard(word: str, confidence: float = 0.91) -> dict:
    return {"kind": "heard", "v": 1, "data": {"word": word, "confidence": confidence, "accepted": True}}


def new_record(
    root: Path, kind: str = "live", session_id: str = "s1", header: dict | None = None, **more
) -> RecordWriter:
    return create_record(
        root,
        HEADER | (header or {}),
        kind,
        enclosure="GB-2",
        stamp="20260314T081500Z",
        session_id=session_id,
        rules=1,
        wall=WALL,
        **more,
    )


def sealed_record(root: Path, facts: int = 6, kind: str = "live", session_id: str = "s1") -> Path:
    """The folder of a finished session of `facts` facts, two to a decision."""
    writer = new_record(root, kind, session_id)
    for number in range(0, facts, 2):
        writer.append(
            [heard("confirm", 0.5 + number / 1000), spoken(f"Step {number}.")][: facts - number],
            number * 500,
            WALL,
        )
    writer.seal(facts * 500, WALL, verdict="stands", left_open=[])
    assert writer.folder
    return writer.folder


SITE_FILES = {"site/gb-2.yaml": b"a: 1\n", "site/agents/a.yaml": b"b: 2\n", "approvals/gb-2.json": b"{}"}


def whole_session(root: Path, kind: str = "live") -> Path:
    """The folder of a sealed session with everything beside it that a record names: site files, approval, a clip,
    a scan, a tail that recovery set aside, and the sound."""
    named = {name: hashlib.sha256(data).hexdigest() for name, data in SITE_FILES.items()}
    header = {
        "files": [
            {"file": "procedures/gb-2.yaml", "sha256": named["site/gb-2.yaml"]},
            {"file": "procedures/agents/a.yaml", "sha256": named["site/agents/a.yaml"]},
        ],
        "approval_file": {"file": "approvals/gb-2.json", "sha256": named["approvals/gb-2.json"]},
    }
    writer = new_record(root, kind, header=header)
    folder = writer.folder
    assert folder
    for name, data in SITE_FILES.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(data)
    clip = ClipStore(folder, ClipPolicy()).save(bytes(200), accepted=False)
    writer.append([{"kind": "heard", "v": 1, "data": {"clip_sha256": clip, "accepted": False}}], 10, WALL)
    (root / "paper.pdf").write_bytes(b"%PDF")
    transcribe(
        writer, [PaperEntry("", "Wiped.")], [root / "paper.pdf"], author="T", transcriber="C", wall=WALL
    )
    writer.close()
    with (folder / "record.jsonl").open("ab") as torn:
        torn.write(b'{"data":{"torn"')
    writer = recover(folder, wall=WALL)
    (folder / "session.wav").write_bytes(b"RIFF" + bytes(100))
    attach_file(writer, "session.wav", "as it sounded", t_ms=20, wall=WALL)
    writer.seal(30, WALL, verdict="stands", left_open=[])
    return folder


def supervisor() -> UnlockedKey:
    """RFC 8032's first test key: known to everybody, so no secret, and the same in every run."""
    private = Ed25519PrivateKey.from_private_bytes(
        bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
    )
    public = private.public_key().public_bytes_raw()
    return UnlockedKey(
        PublicKey(key_id_of(public), "S. Supervisor", "supervisor", public.hex(), WALL), private
    )


class FaultyFiles(OsFiles):
    """Fails the `at`-th call (from 1) of those named, once or from then on; a write may get part-way
    first."""

    def __init__(
        self,
        at: int = 0,
        error_number: int = errno.ENOSPC,
        *,
        calls: tuple[str, ...] = ("write", "sync"),
        part: int = 0,
        short: int = 0,
    ) -> None:
        self.at, self.error_number, self.calls, self.part, self.short = at, error_number, calls, part, short
        self.count = self.at_call = 0
        self.done: list[str] = []

    def _step(self, call: str) -> bool:
        self.done.append(call)
        if call in self.calls:
            self.count += 1
            if self.count == self.at:
                self.at_call = len(self.done) - 1
                return True
        return False

    def _fail(self) -> None:
        raise OSError(self.error_number, os.strerror(self.error_number))

    def write(self, fd: int, data: bytes) -> int:
        if self._step("write"):
            if self.part:
                os.write(fd, data[: self.part])
            self._fail()
        return os.write(fd, data[: self.short] if self.short else data)

    def sync(self, fd: int) -> None:
        if self._step("sync"):
            self._fail()
        super().sync(fd)

    def sync_folder(self, path: Path) -> None:
        if self._step("sync_folder"):
            self._fail()
        super().sync_folder(path)

    def open(self, path: Path, flags: int) -> int:
        if self._step("open"):
            self._fail()
        return super().open(path, flags)

    def truncate(self, fd: int, size: int) -> None:
        if self._step("truncate"):
            self._fail()
        super().truncate(fd, size)

    def replace(self, source: Path, target: Path) -> None:
        if self._step("replace"):
            self._fail()
        super().replace(source, target)

    def make_folder(self, path: Path) -> None:
        if self._step("make_folder"):
            self._fail()
        super().make_folder(path)


def summary():
    """A made-up session's summary with every kind of row."""
    from assistant.record.export.summary import Bar, Remark, ReportSummary, StepRow

    minute = 60_000
    steps = [
        StepRow(str(n + 1), text, n * 2 * minute, n * 2 * minute + 100_000, "done", "single")
        for n, text in enumerate(
            [
                "Close the inner door. Open the outer door.",
                "Wipe the airlock from the ceiling to the floor.",
                "Close the outer door. Start the purge.",
                "Wipe the ceiling of the work area, left to right, back to front.",
                "Wipe the back wall.",
                "Wipe the viewing window.",
                "Wipe the gauntlets from the sleeve to the fingers.",
                "Put the wipes into the waste bag. Close it.",
                "Start the run-up.",
            ]
        )
    ]
    steps[4] = StepRow(
        "5", "Wipe the back wall.", 8 * minute, 12 * minute, "redone", "read back; dried too early"
    )
    steps[8] = StepRow("9", "Start the run-up.", None, None, "not begun")
    return ReportSummary(
        title="Light clean between two preparations",
        revision="3",
        site="Northmere Veterinary Oncology",
        enclosure="Glove box GB-2",
        technician="T. Technician",
        verdict="The clean stands, with two deviations.",
        started_wall=WALL,
        ended_wall="2026-03-14T09:35:10.000+01:00",
        duration_ms=20 * minute + 10_000,
        waiting_ms=8 * minute,
        words_heard=31,
        words_refused=3,
        deviations=(
            Remark(
                9 * minute,
                41,
                "The back wall dried after 2 min 10 s. The contact time is 5 min. Wetted again.",
                "Accepted: wetted again in full.",
            ),
            Remark(15 * minute, 66, "The panel was open longer than 3 min."),
        ),
        unanswered=("Was the torn wipe counted out?",),
        steps=tuple(steps),
        bars=(
            Bar(
                "Airlock surfaces",
                "Grüner Reiniger 70 % v/v",
                2 * minute,
                7 * minute,
                5 * minute,
                "complete",
                (4 * minute,),
            ),
            Bar("Airlock purge", "", 5 * minute, 14 * minute, 9 * minute, "complete", kind="cycle"),
            Bar("Back wall", "Sporicidal", 8 * minute, 10 * minute + 10_000, 5 * minute, "dried"),
            Bar("Back wall", "Sporicidal", 11 * minute, 16 * minute, 5 * minute, "complete"),
            Bar("Viewing window", "Sterile water", 13 * minute, 14 * minute, 2 * minute, "void"),
            Bar("Run-up", "", 18 * minute, 20 * minute, 10 * minute, "open", kind="cycle"),
        ),
        cleaned="Work area and airlock",
        fit_until_wall="2026-03-14T17:35:10.000+01:00",
        fit_rule="8 hours after the end, or the next preparation",
        released="",
        release_rule="a supervisor signs",
        witnesses=("W. Witness",),
        with_what=(("Software", "Gauntlet 0.1.0"), ("Engine", "PocketSphinx 5.1.1")),
    )

"""What the record's tests share: made-up sessions, keys that are no secret, a file system that fails on cue."""

from __future__ import annotations

import errno
import os
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from assistant.record.files import OsFiles
from assistant.record.keys import PublicKey, UnlockedKey, key_id_of
from assistant.record.writer import RecordWriter, create_record

WALL = "2026-03-14T09:15:00.000+01:00"
HEADER = {"technician": "T. Technician", "site": "Northmere Veterinary Oncology", "enclosure": "GB-2",
          "procedure": "light clean", "revision": 3}


def spoken(text: str = "Wipe the ceiling.") -> dict:
    """A fact as the core hands it over."""
    return {"kind": "spoken", "v": 1, "data": {"text": text}}


def heard(word: str, confidence: float = 0.91) -> dict:
    return {"kind": "heard", "v": 1, "data": {"word": word, "confidence": confidence, "accepted": True}}


def new_record(root: Path, kind: str = "live", session_id: str = "s1", **more) -> RecordWriter:
    return create_record(root, HEADER, kind, enclosure="GB-2", stamp="20260314T081500Z", session_id=session_id,
                         rules=1, wall=WALL, **more)


def sealed_record(root: Path, facts: int = 6, kind: str = "live", session_id: str = "s1") -> Path:
    """The folder of a finished session of `facts` facts, two to a decision."""
    writer = new_record(root, kind, session_id)
    for number in range(0, facts, 2):
        writer.append([heard("confirm", 0.5 + number / 1000), spoken(f"Step {number}.")][:facts - number],
                      number * 500, WALL)
    writer.seal(facts * 500, WALL, verdict="stands", left_open=[])
    assert writer.folder
    return writer.folder


def supervisor() -> UnlockedKey:
    """RFC 8032's first test key: known to everybody, so no secret, and the same in every run."""
    private = Ed25519PrivateKey.from_private_bytes(
        bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"))
    public = private.public_key().public_bytes_raw()
    return UnlockedKey(PublicKey(key_id_of(public), "S. Supervisor", "supervisor", public.hex(), WALL), private)


class FaultyFiles(OsFiles):
    """Fails the `at`-th call (from 1) of those named, once or from then on; a write may get part-way first."""

    def __init__(self, at: int = 0, error_number: int = errno.ENOSPC, *, calls: tuple[str, ...] = ("write", "sync"),
                 part: int = 0, short: int = 0) -> None:
        self.at, self.error_number, self.calls, self.part, self.short = at, error_number, calls, part, short
        self.count = 0
        self.done: list[str] = []

    def _step(self, call: str) -> bool:
        self.done.append(call)
        if call in self.calls:
            self.count += 1
            return self.count == self.at
        return False

    def _fail(self) -> None:
        raise OSError(self.error_number, os.strerror(self.error_number))

    def write(self, fd: int, data: bytes) -> int:
        if self._step("write"):
            if self.part:
                os.write(fd, data[:self.part])
            self._fail()
        return os.write(fd, data[:self.short] if self.short else data)

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

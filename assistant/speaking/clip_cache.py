"""Clips kept for later: in memory, and in a folder where each entry carries its own checksum."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections import OrderedDict
from pathlib import Path

import numpy as np

MEMORY_BYTES = 64 * 1024 * 1024
FOLDER_BYTES = 256 * 1024 * 1024
_DIGEST = 32


def clip_key(text: str, voice: dict[str, object]) -> str:
    """Name of a clip: SHA-256 over the text as spoken and everything that `Voice.describe` says."""
    return hashlib.sha256(json.dumps([text, voice], sort_keys=True).encode()).hexdigest()


class ClipCache:
    """Samples (int16 mono at CLIP_RATE_HZ) by key. `folder` None: memory only.

    The folder is a help, never a need: what can't be read or written is rendered again and nothing is raised.
    An entry is the SHA-256 of its key and samples, then the samples; one that doesn't match is removed.
    """

    def __init__(self, folder: Path | None = None, *, memory_bytes: int = MEMORY_BYTES) -> None:
        self._memory: OrderedDict[str, np.ndarray] = OrderedDict()
        self._memory_bytes = memory_bytes
        self._held = 0
        self.folder = folder
        if folder is not None:
            try:
                folder.mkdir(parents=True, exist_ok=True, mode=0o700)
                self._prune(folder)
            except OSError:
                self.folder = None

    def get(self, key: str) -> np.ndarray | None:
        """The samples, or None when they have to be rendered."""
        samples = self._memory.get(key)
        if samples is not None:
            self._memory.move_to_end(key)
            return samples
        samples = self._read(key)
        if samples is not None:
            self._keep(key, samples)
        return samples

    def put(self, key: str, samples: np.ndarray) -> None:
        self._keep(key, samples)
        self._write(key, samples)

    def _keep(self, key: str, samples: np.ndarray) -> None:
        if key in self._memory:
            return
        self._memory[key] = samples
        self._held += samples.nbytes
        while self._held > self._memory_bytes and len(self._memory) > 1:
            _, old = self._memory.popitem(last=False)
            self._held -= old.nbytes

    def _path(self, key: str) -> Path | None:
        return None if self.folder is None else self.folder / f"{key}.clip"

    def _read(self, key: str) -> np.ndarray | None:
        path = self._path(key)
        if path is None:
            return None
        try:
            data = path.read_bytes()
        except OSError:
            return None
        digest, payload = data[:_DIGEST], data[_DIGEST:]
        if len(payload) < 2 or len(payload) % 2 or _digest(key, payload) != digest:
            try:
                path.unlink()
            except OSError:
                pass
            return None
        return np.frombuffer(payload, dtype="<i2").astype(np.int16)

    def _write(self, key: str, samples: np.ndarray) -> None:
        path = self._path(key)
        if path is None:
            return
        payload = samples.astype("<i2").tobytes()
        temporary = None
        try:
            handle, temporary = tempfile.mkstemp(prefix=".new-", dir=self.folder)
            with os.fdopen(handle, "wb") as file:
                file.write(_digest(key, payload) + payload)
            os.replace(temporary, path)
        except OSError:
            if temporary is not None:
                Path(temporary).unlink(missing_ok=True)

    @staticmethod
    def _prune(folder: Path) -> None:
        """Remove the oldest entries above FOLDER_BYTES."""
        entries = sorted(
            ((p.stat().st_mtime, p.stat().st_size, p) for p in folder.glob("*.clip")), reverse=True
        )
        total = 0
        for _, size, path in entries:
            total += size
            if total > FOLDER_BYTES:
                path.unlink(missing_ok=True)


def _digest(key: str, payload: bytes) -> bytes:
    return hashlib.sha256(key.encode() + payload).digest()

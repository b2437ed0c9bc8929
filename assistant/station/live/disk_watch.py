"""Watches the disk from outside the write: one that takes over a second is answered while the write still hangs."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any

from assistant.record.storage.store import SLOW_S, SlowStorageError
from assistant.record.writer import RecordWriter

_LOOK_S = 0.1


class DiskWatch:
    """A writer around a writer. `warn` is called once for each write that takes too long, at the latest when it has
    ended; the facts of such a write count all the same. `warn` may be called from another thread."""

    def __init__(
        self, writer: RecordWriter, warn: Callable[[], object], clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._writer = writer
        self._warn = warn
        self._clock = clock
        self._warned_for: float | None = None
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="disk-watch", daemon=True)
        self._thread.start()

    def append(self, facts: list[dict[str, Any]], t_ms: int, wall: str) -> Any:
        """As the writer's, but a slow disk is a warning, not an error."""
        return self._patient(lambda: self._writer.append(facts, t_ms, wall))

    def seal(self, *args: Any, **named: Any) -> Any:
        """As the writer's, likewise."""
        return self._patient(lambda: self._writer.seal(*args, **named))

    def check(self) -> None:
        """Look once at the write under way."""
        began = self._writer.started_at_s
        if began is not None and self._clock() - began > SLOW_S:
            self._warn_once(began)

    def close(self) -> None:
        """Stop watching."""
        self._stop.set()
        self._thread.join(timeout=5)

    def _patient(self, write: Callable[[], Any]) -> Any:
        self._warned_for = None
        try:
            return write()
        except SlowStorageError as slow:
            if self._warned_for is None:
                self._warn_once(0.0)
            return slow.refs

    def _warn_once(self, began: float) -> None:
        with self._lock:
            if self._warned_for is not None:
                return
            self._warned_for = began
        self._warn()

    def _run(self) -> None:
        while not self._stop.wait(_LOOK_S):
            self.check()

"""Stand-ins for what the station owns: a source of blocks, keys, a writer that can fail."""

from __future__ import annotations

from collections import deque
from typing import Any

from assistant.errors import StorageError
from assistant.session import inputs
from assistant.station.loop.hand_clock import HandClock


class BlockSource:
    """A microphone that gives silence, can be unplugged and plugged in again, and can drop blocks."""

    def __init__(self, clock: HandClock) -> None:
        self.clock = clock
        self.plugged = True
        self.drops = 0
        self.speed = 1.0  # sound seconds per clock second
        self._owed = 0.0

    def read(self, timeout_s: float) -> bytes | None:
        self.clock.sleep(timeout_s)
        if not self.plugged:
            return None
        self._owed += timeout_s * self.speed * 16_000
        count = int(self._owed)
        self._owed -= count
        return bytes(2 * count)

    def lost(self) -> bool:
        return not self.plugged

    def dropped(self) -> int:
        gone, self.drops = self.drops, 0
        return gone

    def reopen(self) -> bool:
        return self.plugged

    def describe(self) -> dict[str, Any]:
        return {"source": "fake"}

    def close(self) -> None:
        return None


class TimedKeys:
    """Inputs that come due at moments of the clock."""

    def __init__(self, clock: HandClock, *timed: tuple[int, inputs.Input]) -> None:
        self.clock = clock
        self.timed = deque(timed)

    def get(self) -> inputs.Input | None:
        if self.timed and self.timed[0][0] <= self.clock.now_ms():
            return self.timed.popleft()[1]
        return None


class ListWriter:
    """Keeps what would be on disk; fails from the `fail_at`-th append on."""

    def __init__(self, fail_at: int | None = None) -> None:
        self.batches: list[list[dict[str, Any]]] = []
        self.fail_at = fail_at

    def append(self, facts: list[dict[str, Any]], t_ms: int, wall: str) -> None:
        if self.fail_at is not None and len(self.batches) >= self.fail_at:
            raise StorageError("The disk is full.", where="record", try_next="free some space")
        self.batches.append(facts)

    @property
    def kinds(self) -> list[str]:
        return [fact["kind"] for batch in self.batches for fact in batch]

"""What the listener hands out: one utterance, accepted or refused."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Value:
    """A number, lot or date as understood. `kind`: "number", "lot" or "date", or one sign of the first two ("number sign", "lot sign").

    `text`: canonical (digits with sign and point, code, ISO date). `parts`: what a read back says, one by one.
    """

    kind: str
    text: str
    parts: tuple[str, ...] = ()

    @property
    def number(self) -> float | None:
        return float(self.text) if self.kind == "number" else None


@dataclass(frozen=True)
class Utterance:
    """Times are positions in the audio, in seconds. `decided_s`: audio consumed when the verdict fell.

    `word`: a command id, filled also when it was known but refused as "not now". `compute_s`, the engine's
    time for it, and `compute_after_s`, the part after its last sound, are measured and so not part of equality. `clip`: int16 mono 16 kHz with up to a second before and after where there was one.
    """

    start_s: float
    end_s: float
    decided_s: float
    word: str | None
    value: Value | None
    said: str
    accepted: bool
    reason: str
    confidence: float
    scores: dict[str, float] = field(default_factory=dict)
    clip: bytes = field(default=b"", repr=False)
    compute_s: float = field(default=0.0, compare=False)
    compute_after_s: float = field(default=0.0, compare=False)

    @property
    def clip_sha256(self) -> str:
        return hashlib.sha256(self.clip).hexdigest()

"""Run the whole chain over a mixed recording and say what became of each piece."""

from __future__ import annotations

from dataclasses import dataclass, field

from assistant.hearing.listener import Listener
from assistant.hearing.sound.frames import RATE_HZ
from assistant.hearing.utterance import Utterance
from tests.bench.hearing.mixing import Placed

BLOCK_S = 0.02


@dataclass
class Outcome:
    """A placed piece and the utterances that overlap it. `consumed_s`: audio fed when each verdict came back."""

    piece: Placed
    utterances: list[Utterance] = field(default_factory=list)
    consumed_s: list[float] = field(default_factory=list)

    @property
    def accepted(self) -> list[Utterance]:
        return [u for u in self.utterances if u.accepted]

    @property
    def right(self) -> bool:
        return len(self.accepted) == 1 and self.accepted[0].word == self.piece.truth

    @property
    def wrong(self) -> bool:
        """Something was accepted that wasn't said."""
        return any(u.word != self.piece.truth for u in self.accepted)

    def latency_s(self) -> float | None:
        """True end of the word to the decision, computing included."""
        for u, consumed in zip(self.utterances, self.consumed_s, strict=False):
            if u.accepted and u.word == self.piece.truth:
                return consumed + u.compute_after_s - self.piece.end_s
        return None


def run(listener: Listener, pcm: bytes, placed: list[Placed], block_s: float = BLOCK_S) -> tuple[list[Outcome], list[Utterance]]:
    """Outcomes in the order of `placed`, and the utterances that lie outside every piece."""
    outcomes = [Outcome(p) for p in placed]
    outside: list[Utterance] = []
    size = int(block_s * RATE_HZ) * 2
    fed = 0.0

    def sort_in(found: list[Utterance]) -> None:
        for u in found:
            for o in outcomes:
                if u.start_s < o.piece.end_s + 0.1 and o.piece.start_s - 0.1 < u.end_s:
                    o.utterances.append(u)
                    o.consumed_s.append(fed)
                    break
            else:
                outside.append(u)

    for at in range(0, len(pcm), size):
        block = pcm[at:at + size]
        fed += len(block) / 2 / RATE_HZ
        sort_in(listener.feed(block))
    sort_in(listener.flush())
    return outcomes, outside

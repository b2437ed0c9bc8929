"""The word pieces of the speech model: its table in the package's file, and a text cut into them.

The table is a byte-pair vocabulary in the order in which its pieces were learnt, so the pair with the lowest number is
joined first (Sennrich, Haddow, Birch 2016). A space is written as U+2581, as SentencePiece does.
"""

from __future__ import annotations

import itertools
from pathlib import Path

from assistant.errors import ModelError

UNKNOWN, BEGIN, END = 0, 1, 2
SINGLE_BYTES = range(3, 259)     # pieces for bytes that no other piece holds
SPACE = "\u2581"


class WordPieces:
    """`pieces[k]` is the text of number k, as bytes."""

    def __init__(self, pieces: list[bytes]) -> None:
        self.pieces = pieces
        self._numbers = {piece: k for k, piece in reversed(list(enumerate(pieces))) if k not in SINGLE_BYTES}

    @classmethod
    def read(cls, path: Path) -> WordPieces:
        """Lengths (one byte below 128, else two, the lower seven bits first) and pieces. Raises ModelError."""
        data, at, pieces = path.read_bytes(), 0, []
        while at < len(data):
            length, at = data[at], at + 1
            if length >= 128:
                if at >= len(data):
                    break
                length, at = data[at] * 128 + length - 128, at + 1
            pieces.append(data[at:at + length])
            at += length
        if at != len(data) or len(pieces) <= SINGLE_BYTES.stop:
            raise ModelError("The speech model's word pieces can't be read.", where=str(path),
                             try_next="install the package moonshine-voice again")
        return cls(pieces)

    def number(self, piece: str) -> int | None:
        return self._numbers.get(piece.encode())

    def encode(self, text: str, begins: bool = True) -> list[int]:
        """A text's pieces, as the model was taught to write it. Characters without a piece are UNKNOWN. `begins`: it
        is the beginning of what is written, before which a space is understood."""
        parts = [c.encode() for c in (SPACE if begins else "") + text.replace(" ", SPACE)]
        while True:
            pairs = [(self._numbers[a + b], k) for k, (a, b) in enumerate(itertools.pairwise(parts)) if a + b in self._numbers]
            if not pairs:
                return [self._numbers.get(p, UNKNOWN) for p in parts]
            _, k = min(pairs)
            parts[k:k + 2] = [parts[k] + parts[k + 1]]

    def text(self, numbers: list[int]) -> str:
        joined = b"".join(self.pieces[n] for n in numbers if n > END)
        return joined.decode("utf-8", "replace").replace(SPACE, " ").strip()

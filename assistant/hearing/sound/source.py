"""Where sound comes from: blocks of 16 kHz mono int16 PCM."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

BLOCK_SAMPLES = 1600      # 0.1 s


class Source(Protocol):
    """A headset or a file. `blocks` ends when the sound does; `close` may be called at any time."""

    name: str

    def blocks(self) -> Iterator[bytes]: ...

    def close(self) -> None: ...

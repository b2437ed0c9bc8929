"""What every fact has: a versioned word as its name and the moment it was decided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class Fact:
    """Something that happened. `at_ms`: monotonic milliseconds since the session began.

    KIND is the name in the record and never changes; VERSION grows when a field changes its meaning.
    TRIGGER names the row of the mode table that this fact fires, or "" when the mode stays.
    """

    KIND: ClassVar[str] = ""
    VERSION: ClassVar[int] = 1

    at_ms: int

"""Things that happen to a virtual operator at a set moment, found by what it hears."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Cue:
    """When the `nth` line holding `heard` (letter case aside; | between wordings) has been spoken, `after_ms` later:

    `say`: a command id or any other text is spoken, meant for the assistant or not; `drop`: what is being done is
    left as it is; `ignore`: that line is not acted on, nor anything else for a minute; `world`: something happens to the enclosure
    ("spoil:SURFACE", "dry:SURFACE", "early:SURFACE", "pressure", "pressure_back", "power"); `surface`: which one is meant if asked.
    """

    heard: str
    nth: int = 1
    after_ms: int = 0
    say: str = ""
    drop: bool = False
    ignore: bool = False
    world: str = ""
    surface: str = ""


class Cues:
    """Counts lines and hands out each cue once."""

    def __init__(self, cues: Sequence[Cue]) -> None:
        self._left = [(cue, itertools.count(1)) for cue in cues]

    def heard(self, text: str) -> list[Cue]:
        """The cues this line sets off."""
        low, found = text.lower(), []
        for entry in list(self._left):
            cue, count = entry
            if any(part in low for part in cue.heard.lower().split("|")) and next(count) == cue.nth:
                self._left.remove(entry)
                found.append(cue)
        return found

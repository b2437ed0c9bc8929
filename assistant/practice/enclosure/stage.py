"""What goes wrong for a person who practises: each drill befalls the simulated enclosure on cue and is shown as seen."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from assistant.practice.enclosure.drills import Drill
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator.answering import Answering
from assistant.practice.operator.cues import Cues


class DrillStage:
    """`show`: tells the person what they would see, at the moment it happens and never before."""

    def __init__(self, drills: Sequence[Drill], world: EnclosureSim, show: Callable[[str], None]) -> None:
        self.happened: list[tuple[int, str]] = []  # (when, command id that names it)
        self._by_cue = {drill.cue(): drill for drill in drills}
        self._cues = Cues(list(self._by_cue))
        self._due: list[tuple[int, Drill]] = []
        self._answering = Answering(world, {})
        self._show = show

    def hear(self, text: str, ended_ms: int) -> None:
        """A line has been spoken to its end."""
        for cue in self._cues.heard(text):
            self._due.append((ended_ms + cue.after_ms, self._by_cue[cue]))

    def go_on(self, now_ms: int) -> None:
        """Let happen what is due by `now_ms`."""
        for at_ms, drill in [entry for entry in self._due if entry[0] <= now_ms]:
            self._due.remove((at_ms, drill))
            world = drill.cue().world
            if world:
                self._answering.happen(world)
            self.happened.append((now_ms, drill.word))
            self._show(f"Now it happens: {drill.tell}.")

    def next_ms(self) -> int | None:
        """When the next one is due."""
        return min((at for at, _ in self._due), default=None)

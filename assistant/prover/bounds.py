"""How far the search goes, and how that is said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class Bounds:
    """`depth`: how many mishaps, corrections or crashes in one run. `moments`: how many answers off the author's
    pace in one run; None: any number. `everywhere`: mishaps from every state, else once from each step in each mode
    and situation. `moments_after`: moments around thresholds are tried after a mishap too. `deep`: mishaps two deep
    in every step of a branch from everywhere, else once in each situation (`nested_steps`: of each of its steps)."""

    depth: int = 2
    moments: int | None = None
    everywhere: bool = False
    moments_after: bool = False
    deep: bool = False
    nested_steps: bool = True
    most_states: int = 400_000

    # What the key of a state leaves out, so that the search comes by it, but not in every way.
    LEFT_OUT: ClassVar[str] = (
        "; how often in a row a surface dried isn't told apart, so the question after several times isn't searched "
        "in every way; values are said whole, never sign by sign"
    )

    def sentence(self) -> str:
        """The bound in plain words."""
        first = "from every state" if self.everywhere else "from every step, in each way of standing there"
        second = "" if self.depth < 2 else (
            ", and a second one inside its branch " + (
                "everywhere" if self.deep
                else "at each of its steps once for each situation" if self.nested_steps else "once for each situation"
            )
        )
        often = "any number of times" if self.moments is None else f"at most {self.moments} in one run"
        moments = f"1 ms before, at and after the next change ({often}), else at the author's own pace"
        if not self.depth:
            return f"without mishap, correction or crash; moments: {moments}{self.LEFT_OUT}"
        after = "" if self.moments_after else "; after a mishap at the author's own pace"
        crash = "" if self.nested_steps else "; after a crash, things found other than left: once for each situation"
        return (
            f"at most {self.depth} mishaps, corrections or crashes in one run: one {first}{second}; "
            f"moments: {moments}{after}{crash}{self.LEFT_OUT}"
        )


def bounds_for(steps: int, options: int) -> Bounds:
    """Few steps are searched everywhere; larger ones so that the proof stays within a minute."""
    size = steps * 2**options
    if size <= 8:
        return Bounds(everywhere=True, moments_after=True, deep=True)
    if size <= 400:
        return Bounds(moments=2)
    return Bounds(moments=1, nested_steps=False)

"""`limits`: no time limit passes unrecorded. Asked after every input, since a limit passes by time alone."""

from __future__ import annotations

from assistant.prover.truth import Truth
from assistant.prover.watching.site import Found, Site


def after_input(site: Site, t: Truth, now_ms: int, found: Found) -> None:
    """What is late by `now_ms` and was not said. Notes it as said, so that it is found once."""
    if t.over:
        return
    for opening, since in t.open_since.items():
        most = site.need.openings[opening].max_open_ms if opening in site.need.openings else 0
        if most and now_ms - since > most and f"opening:{opening}" not in t.missed:
            found.append(("limits", f"{site.the(opening)} stays open beyond {most / 1000:g} s and nobody says so"))
            t.missed |= {f"opening:{opening}"}
    for task in site.limited:
        if task.after not in t.confirmed_ms or task.id in t.done:
            continue
        limit = f"step:{task.id}"
        late = now_ms - t.confirmed_ms[task.after] > task.within_ms
        applies = all(t.options.get(o, False) == v for o, v in task.when)
        if late and applies and not t.skipped and limit not in t.missed:
            found.append(("limits", f"{site.step_told(task.id)} is later than allowed and nobody says so"))
            t.missed |= {limit}

"""Plans of bare walls, for tests of exact moments. Invented for the tests only."""

from __future__ import annotations

from dataclasses import replace

from assistant.procedure.model import plan as p
from tests.session.small_plan import small_plan


def wall(name: str, contact_ms: int, wet_ms: int, lead_ms: int = 0, **more: object) -> p.Step:
    """A step that wets the wall `name`."""
    return p.Step(
        f"wet-{name}", p.WET, f"Wipe the {name} wall.", surface=name, agent="alcohol", agent_name="alcohol",
        contact_ms=contact_ms, wet_ms=wet_ms, lead_ms=lead_ms, **more,
    )


def walls(*steps: p.Step, mishaps: dict[str, p.Mishap] | None = None, **changes: object) -> p.Plan:
    """A plan of these steps and nothing else; surfaces as the steps name them, hands in the room throughout."""
    names = dict.fromkeys(s.surface for s in steps if s.surface)
    surfaces = {n: p.Surface(n, f"{n} wall", "work", height=i) for i, n in enumerate(names, 1)}
    found = small_plan().mishaps if mishaps is None else mishaps
    return small_plan(**{
        "surfaces": surfaces, "openings": {}, "cycles": {}, "interlocks": (), "steps": steps,
        "mishaps": {k: replace(m, steps=()) for k, m in found.items()} if mishaps is None else found,
        "countdown_ms": (), **changes,
    })


def look(step_id: str = "look", **more: object) -> p.Step:
    return p.Step(step_id, p.INSTRUCT, f"Do {step_id}.", reach="", **more)

"""A small plan for the core's tests: one airlock, two walls, one agent. Invented for the tests only."""

from __future__ import annotations

from assistant.procedure.model import plan as p

GO = p.GAUNTLETS


def small_plan(**changes: object) -> p.Plan:
    """Outer door, wipe, purge, inner door, two walls, a wait, hands out. Times in ms."""
    surfaces = {
        s.id: s
        for s in (
            p.Surface("shelf", "airlock shelf", "airlock", orientation="floor", height=2),
            p.Surface("back", "back wall", "work", height=1),
            p.Surface("left", "left wall", "work", height=2),
        )
    }
    openings = {
        "outer": p.Opening("outer", "outer door", max_open_ms=300_000, warn_ms=60_000),
        "inner": p.Opening(
            "inner", "inner door", opens_when=(p.Cond("cycle", "purge", "complete"),), reach=GO, at_end="closed"
        ),
    }
    cycles = {
        "purge": p.Cycle(
            "purge", "purge", 120_000, starts_when=(p.Cond("opening", "outer", "closed"), p.Cond("opening", "inner", "closed")),
            broken_by_openings=("outer",),
        ),
    }
    wet = {"kind": p.WET, "agent": "alcohol", "agent_name": "alcohol", "contact_ms": 60_000, "lead_ms": 20_000}
    steps = (
        p.Step("open-outer", p.OPEN, "Open the outer door.", opening="outer"),
        p.Step("wet-shelf", say="Wipe the shelf.", surface="shelf", wet_ms=90_000, **wet),
        p.Step("close-outer", p.CLOSE, "Close the outer door.", opening="outer"),
        p.Step("purge", p.CYCLE, "Start the purge.", cycle="purge"),
        p.Step("hands-in", p.MOVE, "Put your hands in.", hands=GO),
        p.Step("open-inner", p.OPEN, "Open the inner door.", opening="inner", reach=GO, policy=p.READ_BACK, claim="the inner door is open"),
        p.Step("wet-back", say="Wipe the back wall.", surface="back", wet_ms=45_000, reach=GO, **wet),
        p.Step("wet-left", say="Wipe the left wall.", surface="left", wet_ms=90_000, reach=GO, **wet),
        p.Step("wait", p.WAIT, "", wait_for=(p.ALL_CONTACTS,), reach=GO),
        p.Step("look", p.CHECK, "Is everything dry?", on_no="again", reach=GO),
        p.Step("gauge", p.READING, "Read the gauge.", value_kind="number", unit="Pa", low="-60", high="-20", on_outside="deviate", reach=""),
        p.Step("close-inner", p.CLOSE, "Close the inner door.", opening="inner", reach=GO),
        p.Step("hands-out", p.MOVE, "Take your hands out.", hands=p.ROOM),
    )
    mishaps = {
        m.id: m
        for m in (
            p.Mishap(
                "torn", "torn_glove", "Torn glove",
                (p.Step("torn-out", p.MOVE, "Take your hands out.", hands=p.ROOM), p.Step("torn-wash", p.INSTRUCT, "Wash your hands.")),
                (p.Spoil(p.SPOIL_CURRENT), p.Spoil(p.SPOIL_BELOW)), tell="Tell your supervisor.",
            ),
            p.Mishap("alarm", "pressure_alarm", "Pressure alarm", (p.Step("alarm-look", p.INSTRUCT, "Stop work."),), (p.Spoil(p.SPOIL_ALL),), breaks_cycles=True),
            p.Mishap("dry", "dry_surface", "Surface dried", (), (p.Spoil(p.SPOIL_CHOSEN),)),
            p.Mishap("fire", "fire", "Fire", (p.Step("fire-go", p.INSTRUCT, "Leave by the nearest exit."),), then="leave"),
            p.Mishap("power", "power_cut", "Power cut", (p.Step("power-stop", p.INSTRUCT, "Stop work."),), (p.Spoil(p.SPOIL_ALL),), breaks_cycles=True, asks_which="Which power went?"),
        )
    }
    values = {
        "procedure": "small", "title": "Small clean", "revision": "1", "sha256": "0" * 64, "site": "Test", "enclosure": "box",
        "enclosure_name": "the box", "language": "en", "surfaces": surfaces, "openings": openings, "cycles": cycles,
        "interlocks": (frozenset(("outer", "inner")),), "steps": steps, "mishaps": mishaps,
    }
    return p.Plan(**{**values, **changes})

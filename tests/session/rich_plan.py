"""A plan with one of everything the core knows, small enough for thousands of runs. Invented for the tests only."""

from __future__ import annotations

from assistant.procedure.model import plan as p

GO = p.GAUNTLETS


def _wet(step_id: str, surface: str, agent: str, contact_s: int, wet_s: int, lead_s: int, **more: object) -> p.Step:
    return p.Step(
        step_id, p.WET, f"Wipe the {surface}.", surface=surface, agent=agent, agent_name=agent, reach=GO,
        contact_ms=contact_s * 1000, wet_ms=wet_s * 1000, lead_ms=lead_s * 1000,
        claim=f"the {surface} is wet", **more,
    )


def _surfaces() -> dict[str, p.Surface]:
    return {
        s.id: s
        for s in (
            p.Surface("shelf", "airlock shelf", "airlock", orientation="floor"),
            p.Surface("ceiling", "ceiling", "work", orientation="ceiling", height=1),
            p.Surface("back", "back wall", "work", height=2, beside=("left",)),
            p.Surface("left", "left wall", "work", height=2),
            p.Surface("floor", "work tray", "work", orientation="floor", height=3),
        )
    }


def _openings() -> dict[str, p.Opening]:
    shut = (p.Cond("opening", "inner", "closed"),)
    purged = (p.Cond("cycle", "purge", "complete"),)
    return {
        "outer": p.Opening("outer", "outer door", opens_when=shut, max_open_ms=180_000, warn_ms=60_000),
        "inner": p.Opening("inner", "inner door", opens_when=purged, reach=GO),
    }


def _steps() -> tuple[p.Step, ...]:
    patch = (p.When("patch", True),)
    return (
        p.Step("lot", p.NOTE, "Read the lot.", value_kind="lot", reach=""),
        p.Step("expiry", p.NOTE, "Read the expiry date.", value_kind="date", not_before_today=True, reach=""),
        p.Step("fan", p.MACHINE, "Start the fan.", machine="fan", machine_value="on"),
        p.Step("open-outer", p.OPEN, "Open the outer door.", opening="outer"),
        p.Step(
            "wet-shelf", p.WET, "Wipe the shelf.", surface="shelf", agent="alcohol", agent_name="alcohol",
            contact_ms=30_000, wet_ms=90_000, lead_ms=10_000,
        ),
        p.Step("close-outer", p.CLOSE, "Close the outer door.", opening="outer"),
        p.Step("purge", p.CYCLE, "Start the purge.", cycle="purge", policy=p.READ_BACK, claim="the purge is running"),
        p.Step("hands-in", p.MOVE, "Put your hands in.", hands=GO),
        p.Step("purged", p.WAIT, "Wait for the purge.", wait_for=("purge",), reach=""),
        p.Step(
            "open-inner", p.OPEN, "Open the inner door.", opening="inner", reach=GO, policy=p.READ_BACK,
            claim="the inner door is open", requires=(p.Cond("contact", "shelf", "complete"),),
        ),
        p.Step(
            "patch", p.PATCH, "Wet a patch on the back wall.", surface="back", agent="sporicide", reach=GO,
            wet_ms=50_000, when=patch,
        ),
        _wet("soap-back", "back", "detergent", 20, 90, 10),
        _wet("wet-ceiling", "ceiling", "sporicide", 60, 45, 20, floor_ms=8_000, impossible_ms=3_000),
        _wet("wet-back", "back", "sporicide", 60, 60, 15),
        _wet("wet-left", "left", "sporicide", 60, 90, 15, after_step="open-inner", within_ms=240_000, warn_ms=30_000),
        _wet("wet-floor", "floor", "sporicide", 100, 50, 15, policy=p.READ_BACK),
        p.Step("wait", p.WAIT, "", wait_for=(p.ALL_CONTACTS,), reach=""),
        p.Step(
            "look", p.CHECK, "Is the back wall free of streaks?", on_no="deviate", reach=GO,
            requires=(p.Cond("contact", "back", "complete"),),
        ),
        p.Step("seen", p.WITNESS, "A colleague looks at the tray.", reach=""),
        p.Step("count", p.CHECK, "Are all wipes counted?", on_no="again", reach=GO, policy=p.WITNESSED),
        p.Step(
            "gauge", p.READING, "Read the gauge.", value_kind="number", unit="Pa", low="-60", high="-20",
            on_outside="deviate", reach="",
        ),
        p.Step("close-inner", p.CLOSE, "Close the inner door.", opening="inner", reach=GO),
        p.Step("hands-out", p.MOVE, "Take your hands out.", hands=p.ROOM),
        p.Step("fan-off", p.MACHINE, "Stop the fan.", machine="fan", machine_value="off"),
    )


def _mishap(mishap_id: str, word: str, steps: tuple[p.Step, ...], *spoils: str, **more: object) -> p.Mishap:
    return p.Mishap(mishap_id, word, word.replace("_", " "), steps, tuple(p.Spoil(s) for s in spoils), **more)


def _mishaps() -> dict[str, p.Mishap]:
    def do(step_id: str, reach: str = "") -> p.Step:
        return p.Step(step_id, p.INSTRUCT, f"Do {step_id}.", reach=reach)

    return {
        m.id: m
        for m in (
            _mishap(
                "torn", "torn_glove",
                (p.Step("torn-out", p.MOVE, "Take your hands out.", hands=p.ROOM), do("torn-wash", p.ROOM)),
                p.SPOIL_CURRENT, p.SPOIL_BELOW, tell="Tell your supervisor.",
            ),
            _mishap("splash", "splash", (do("splash-rinse"), do("splash-call")), p.SPOIL_RUNNING, then="stop"),
            _mishap("spill", "spill", (do("spill-pad", GO),), p.SPOIL_CURRENT, p.SPOIL_BELOW),
            _mishap("alarm", "pressure_alarm", (do("alarm-still"),), p.SPOIL_ALL, breaks_cycles=True),
            _mishap(
                "power", "power_cut", (p.Step("power-fan", p.CHECK, "Is the fan running?", reach="", on_no="stop"),),
                p.SPOIL_RUNNING, breaks_cycles=True, asks_which="Which power went?",
            ),
            _mishap("dropped", "dropped_item", (do("dropped-bag", GO),), p.SPOIL_ZONE),
            _mishap("dry", "dry_surface", (do("dry-wipe", GO),), p.SPOIL_CHOSEN),
            _mishap("touched", "touched", (), p.SPOIL_CHOSEN),
            _mishap("reused", "wipe_reused", (do("reused-bag", GO),), p.SPOIL_CURRENT),
            _mishap("unwell", "unwell", (do("unwell-sit", p.ROOM),), p.SPOIL_RUNNING, then="stop"),
            _mishap(
                "over", "hand_over",
                (do("over-tell", p.ROOM), p.Step("over-dressed", p.CHECK, "Are you dressed?", on_no="stop")),
                p.SPOIL_RUNNING,
            ),
            _mishap("fire", "fire", (do("fire-go"),), p.SPOIL_ALL, then="leave"),
        )
    }


def rich_plan(**changes: object) -> p.Plan:
    """The plan; `changes` replaces fields of it."""
    values = {
        "procedure": "rich", "title": "Rich clean", "revision": "1", "sha256": "1" * 64, "site": "Test", "enclosure": "box",
        "enclosure_name": "the box", "language": "en", "surfaces": _surfaces(), "openings": _openings(),
        "cycles": {
            "purge": p.Cycle(
                "purge", "purge", 90_000,
                starts_when=(p.Cond("opening", "outer", "closed"), p.Cond("opening", "inner", "closed")),
                broken_by_openings=("outer",),
            ),
        },
        "interlocks": (frozenset(("outer", "inner")),), "steps": _steps(), "mishaps": _mishaps(),
        "options": (p.Option("patch", "Is a patch tested today?"),), "start_machines": {"fan": "off"},
        "end_machines": {"fan": "off"}, "today": "2026-03-01",
    }
    return p.Plan(**{**values, **changes})

"""Rules about trays and plates, and about ways: lifted or opened again for whatever is done there once more."""

from __future__ import annotations

from collections.abc import Iterable

from assistant.procedure.model.kinds import Instruct
from assistant.procedure.rules.base import Hit, rule
from assistant.procedure.rules.walk import Context, Visit


def tray_moved(c: Context, v: Visit) -> tuple[str, bool] | None:
    """(tray, whether it is lifted) for a step that lifts a tray or puts it back; None for any other. A tray is moved
    by an opening that lifts it, or by an instruction with a role."""
    if v.step.kind in ("open", "close"):
        tray = c.opening(v.step.opening).lifts
        return (tray, v.step.kind == "open") if tray else None
    m = v.flat.model
    if isinstance(m, Instruct) and m.role in ("lift_tray", "lower_tray") and m.surface:
        return m.surface, m.role == "lift_tray"
    return None


@rule(
    "tray-not-lifted", "What lies under a tray is wetted only while that tray is lifted, and it is put back."
)
def tray_not_lifted(c: Context) -> Iterable[Hit]:
    seen = set()
    for walk in c.walks().values():
        lifted = {}
        for v in walk:
            m = v.flat.model
            moved = tray_moved(c, v)
            if moved and moved[1]:
                lifted[moved[0]] = v.flat
            elif moved:
                lifted.pop(moved[0], None)
            elif m.do == "wet":
                tray = c.surface(v.step.surface).under
                if tray and tray not in lifted and v.step.id not in seen:
                    seen.add(v.step.id)
                    yield (
                        m,
                        "",
                        f"{v.step.surface} lies under {tray}, which isn't lifted.",
                        "Lift the tray first.",
                    )
        for tray, flat in lifted.items():
            if flat.id not in seen:
                seen.add(flat.id)
                yield (
                    flat.model,
                    "",
                    f"{tray} is lifted and never put back.",
                    "Add a step that lowers it.",
                )


@rule(
    "both-trays",
    "A clean under the trays lifts every tray that has something under it.",
    source="USP <800>: under the work tray; common practice: both trays",
)
def both_trays(c: Context) -> Iterable[Hit]:
    trays = {s.under for s in c.enclosure.surfaces if s.under}
    lifted = {moved[0] for v in c.visits() if (moved := tray_moved(c, v)) and moved[1]}
    zones = {s.zone for s in c.enclosure.surfaces if s.under}
    if zones & set(c.procedure.cleans_zones):
        for tray in sorted(trays - lifted):
            yield c.procedure, "cleans_zones", f"{tray} is never lifted.", "Lift every tray in turn."


# Instructions that lead through what is open. The others stay on one side of it: gloves, hands, a bag that is filled.
_THROUGH = (None, "waste_passed_out", "spray")


def leads_through(v: Visit) -> bool:
    """Whether the step wets or passes something through what is open there, or is done through the window."""
    kind = v.step.kind
    if kind == "move":
        return "window" in (v.hands, v.step.hands)
    if isinstance(v.flat.model, Instruct) and v.flat.model.role in _THROUGH:
        return True
    return kind == "wet" or (v.step.reach == "window" and kind in ("instruct", "check", "reading", "note", "witness", "patch"))


@rule(
    "way-not-required",
    "What is wetted or passed through while a door, port, window or tray is open requires it open: it is opened again then.",
)
def way_not_required(c: Context) -> Iterable[Hit]:
    seen = set()
    for walk in c.walks().values():
        by_hand: set[str] = set()  # trays lifted by an instruction, which nothing can require
        used: set[str] = set()  # openings that a step needed since they were opened
        for v in walk:
            moved = tray_moved(c, v)
            if moved and v.step.kind not in ("open", "close"):
                by_hand = by_hand | {moved[0]} if moved[1] else by_hand - {moved[0]}
            required = {x.subject for x in v.step.requires if x.kind == "opening" and x.value == "open"}
            is_open = {o for o, at in v.openings.items() if at == "open"}
            if v.step.kind == "open":
                used.discard(v.step.opening)
            needed: set[str] = set()
            if leads_through(v):
                needed = is_open
                used |= is_open
            elif v.step.kind == "close" and v.step.opening not in used:
                needed = is_open & {v.step.opening}  # nothing else went through, so its own words say what does
            if v.step.id in seen:
                continue
            missing = sorted(needed - required)
            under = c.surface(v.step.surface).under if v.step.kind == "wet" else None
            if missing:
                seen.add(v.step.id)
                yield (
                    v.flat.model,
                    "",
                    f"{v.step.id} is done with {missing[0]} open, but done again later nothing opens it.",
                    f"Add requires: [{{opening: {missing[0]}, is: open}}].",
                )
            elif under and under in by_hand:
                seen.add(v.step.id)
                ways = [o.id for o in c.enclosure.openings if o.lifts == under]
                way = ways[0] if ways else f"under_{under}"
                first = "" if ways else f"Add an opening {way} with lifts: {under} to the enclosure. "
                yield (
                    v.flat.model,
                    "",
                    f"{v.step.surface} is wiped under {under}, which an instruction lifts: done again later nothing lifts it.",
                    f"{first}Open and close {way} in place of the instructions, and add "
                    f"requires: [{{opening: {way}, is: open}}].",
                )

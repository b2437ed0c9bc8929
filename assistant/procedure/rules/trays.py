"""Rules about trays and plates: lifted, put back, and lifted again for whatever is wiped there once more."""

from __future__ import annotations

from collections.abc import Iterable

from assistant.procedure.rules.base import Hit, rule
from assistant.procedure.rules.walk import Context, Visit


def tray_moved(c: Context, v: Visit) -> tuple[str, bool] | None:
    """(tray, whether it is lifted) for a step that lifts a tray or puts it back; None for any other. A tray is moved
    by an opening that lifts it, or by an instruction with a role."""
    if v.step.kind in ("open", "close"):
        tray = c.opening(v.step.opening).lifts
        return (tray, v.step.kind == "open") if tray else None
    role = getattr(v.flat.model, "role", None)
    if role in ("lift_tray", "lower_tray") and v.flat.model.surface:
        return v.flat.model.surface, role == "lift_tray"
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


@rule(
    "way-not-required",
    "What is wetted while a door, the window or a tray is open requires it open: done again later, it is opened again.",
)
def way_not_required(c: Context) -> Iterable[Hit]:
    seen = set()
    for walk in c.walks().values():
        by_hand: set[str] = set()  # trays lifted by an instruction, which nothing can require
        for v in walk:
            moved = tray_moved(c, v)
            if moved and v.step.kind not in ("open", "close"):
                by_hand = by_hand | {moved[0]} if moved[1] else by_hand - {moved[0]}
            if v.step.kind != "wet" or v.step.id in seen:
                continue
            required = {x.subject for x in v.step.requires if x.kind == "opening" and x.value == "open"}
            missing = sorted(o for o, at in v.openings.items() if at == "open" and o not in required)
            under = c.surface(v.step.surface).under
            if missing:
                seen.add(v.step.id)
                yield (
                    v.flat.model,
                    "",
                    f"{v.step.id} is done with {missing[0]} open, but done again later nothing opens it.",
                    f"Add requires: [{{opening: {missing[0]}, is: open}}].",
                )
            elif under in by_hand:
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

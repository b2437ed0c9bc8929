"""What each rule needs to know of the whole, so that a fault elsewhere isn't answered with a guess.

A rule that looks at one step, agent or thing by itself stands not in the table: it is asked of whatever is left. The
words are those of `gaps.py`: kinds of step ("move": where the hands are by then), "role" (a step marked for a rule),
"line" (every step of the main line counts), lists of the enclosure's file, and "file.field" for a field of a file.
"""

from __future__ import annotations

from assistant.procedure.loading.gaps import ANYTHING, BRANCH, LINE, MISHAPS, TIME, Gaps

_HANDS = frozenset(("move", "procedure.start_hands"))
_DOORS = frozenset(("open", "close", "openings"))
_STATE = _HANDS | _DOORS | frozenset(
    ("cycle", "wait", "machine", "wet", "cycles", "machines", "procedure.machines_at_start")
)
_PURPOSE = frozenset(("procedure.purpose",))

NEEDS: dict[str, frozenset[str]] = {
    "agents-meet": frozenset(("wet",)),
    "expiry-not-checked": _HANDS | frozenset(("note", "wet")),
    "lot-not-noted": _HANDS | frozenset(("note", "wet")),
    "in-use-life-unchecked": _HANDS | frozenset(("check", "wet")),
    "wiping-order": frozenset(("wet", "open", "move", "cycle", "role")),
    "surface-left-out": frozenset(("wet", "zones", "procedure.cleans_zones", "procedure.leaves_out")),
    "zone-unclaimed": _PURPOSE | frozenset(("procedure.cleans_zones",)),
    "residue-first": _PURPOSE | frozenset(("wet", "enclosure.hazardous")),
    "alcohol-last": frozenset(("wet",)),
    "tray-not-lifted": _DOORS | frozenset(("role",)),
    "both-trays": _DOORS | frozenset(("role", "surfaces", "procedure.cleans_zones")),
    "way-not-required": _DOORS | _HANDS | frozenset(("role", "instruct", "wet", "surfaces")),
    "gauntlets-after-dirt": frozenset(("wet", "role", "move")),
    "waste-not-out": _PURPOSE | frozenset(("wet", "role")),
    "wipes-left-outside": frozenset((LINE,)),
    "waste-unclosed": frozenset(("role",)),
    "waste-unwiped": frozenset(("role",)),
    "gloves-after-waste": frozenset(("role",)),
    "airlock-after-waste": _DOORS | frozenset(("role", "wet", "cycles")),
    "room-reached": _DOORS | _HANDS | frozenset(("wet", "surfaces")),
    "waste-past-interlock": _DOORS | frozenset(("role", "enclosure.interlocks")),
    "gloves-after-room-wiping": _PURPOSE | frozenset(("wet", "role", "move")),
    "gloves-after-window": frozenset(("wet", "role", "move")),
    "gloves-after-tear": frozenset((BRANCH,)),
    "change-made": _PURPOSE | frozenset(("role",)),
    "moved-on-wet": _DOORS | frozenset(("wet", "wait", "role")),
    "door-on-wet": _DOORS | frozenset(("wet", "wait", "enclosure.interlocks")),
    "waste-before-contact": frozenset(("wet", "wait", "role")),
    "rewet-after-dirtier": frozenset(("wet", "wait", "zones")),
    "flammable-awaited": frozenset((LINE,)),
    "rewet-out-of-reach": frozenset(("wet", "wait", "move", "close")),
    "run-up-after-clean": _PURPOSE | frozenset(("wet", "wait", "cycle", "cycles")),
    "limit-too-short": frozenset((LINE, TIME)),
    "open-too-long": frozenset((LINE, TIME)),
    "gloves-too-long": frozenset((LINE, TIME, "enclosure.glove_limit")),
    "interval-missing": frozenset(("surfaces", "enclosure.intervals", "enclosure.category")),
    "opening-conditions": _STATE,
    "cycle-start": _STATE,
    "requirement-unmet": _STATE | frozenset((LINE,)),
    "two-doors": _DOORS,
    "interlock-missing": frozenset(("openings", "cycles", "enclosure.interlocks")),
    "purge-before-inner-door": frozenset(("openings", "cycles", "enclosure.interlocks")),
    "left-open": _DOORS,
    "moved-twice": _DOORS,
    "window-too-early": frozenset(("wet", "role", "move", "open", "enclosure.hazardous")),
    "fan-off-open": _DOORS | frozenset(("machine", "machines", "procedure.machines_at_start")),
    "fan-in-conditions": frozenset(("machines",)),
    "cycle-not-awaited": frozenset(("wait",)),
    "contact-not-awaited": frozenset((LINE,)),
    "wait-for-nothing": frozenset(("wet", "cycle")),
    "hands-elsewhere": _HANDS,
    "opening-out-of-reach": _HANDS,
    "gauge-out-of-sight": _HANDS,
    "label-out-of-sight": _HANDS,
    "move-undescribed": _HANDS | frozenset(("enclosure.moves",)),
    "move-to-nowhere": _DOORS,
    "window-on-hands": _HANDS,
    "hands-at-end": _HANDS | frozenset(("procedure.end_hands",)),
    "machine-at-end": frozenset(("machine", "machines", "procedure.machines_at_start", "procedure.machines_at_end")),
    "glove-integrity": _PURPOSE | frozenset(("role", "move", "check")),
    "dates-checked": _PURPOSE | frozenset(("role", "wet", "move", "check")),
    "readings-around": _PURPOSE | frozenset(("reading", "wet", "cycle", "open", "gauges")),
    "stand-clearance": frozenset((LINE,)),
    "local-rules": frozenset(("procedure.cautions",)),
    "witness-alone": frozenset(("procedure.second_person",)),
    "mishap-missing": frozenset((MISHAPS,)),
    "mishap-no-way-back": frozenset((BRANCH,)),
    "person-first": frozenset((BRANCH,)),
    "fire-leaves": frozenset((BRANCH,)),
    "safeguard-unread": frozenset((LINE, "wet", "procedure.options")),
    "hazard-goes-on": frozenset(("check",)),
    "why-missing": _PURPOSE | frozenset(("wet", "why")),
    "spray-hazardous": frozenset(("enclosure.hazardous",)),
    "agent-form-spray": frozenset(("enclosure.hazardous",)),
    "unsterile-inside": frozenset(("enclosure.category",)),
    "unknown-word": frozenset((BRANCH, MISHAPS, LINE)),
    "site-words": frozenset(("enclosure.site_words",)),
    "sounds-alike": frozenset(("enclosure.site_words",)),
    "sentence-too-long": frozenset(("enclosure.wipe",)),
    "step-too-long": frozenset(("enclosure.wipe", "wet")),
    "brief-longer": frozenset(("enclosure.wipe",)),
    "step-unreachable": frozenset(("procedure.options",)),
    "option-unused": frozenset((LINE, BRANCH)),
}
# What hangs on steps of the main line: open as soon as one is left out of which nothing is known.
_OF_STEPS = frozenset(
    (
        "wet", "wait", "open", "close", "cycle", "machine", "move", "check", "reading", "note", "witness", "patch",
        "instruct", "role", LINE, TIME, "why",
    )
)
# Asked although the enclosure's whole file, and with it the agents', can't be read: they look at nothing but the
# procedure's own words, people, mishaps and the hands.
_WITHOUT_ENCLOSURE = frozenset(
    (
        "hands-elsewhere", "window-on-hands", "hands-at-end", "move-without-hygiene", "note-without-label", "change-made",
        "gloves-after-tear", "stand-height", "stand-clearance", "caution-missing", "local-rules", "witness-alone",
        "mishap-missing", "mishap-no-way-back", "mishap-spoils-nothing", "mishap-breaks-cycles", "person-first",
        "fire-leaves", "hazard-goes-on", "one-action", "one-question", "look-for-order", "unknown-word", "step-unreachable", "option-unused", "wording-incomplete",
        "claim-missing", "zone-unclaimed", "glove-integrity",
    )
)


def can_be_judged(rule: str, gaps: Gaps) -> bool:
    """Whether nothing that the rule needs was left out."""
    if "enclosure file" in gaps.aspects and rule not in _WITHOUT_ENCLOSURE:
        return False
    needs = NEEDS.get(rule, frozenset())
    return not (needs & gaps.aspects) and not (ANYTHING in gaps.aspects and needs & _OF_STEPS)

"""Rules about people: looks before the start, readings, cautions, witnesses, mishaps."""

from __future__ import annotations

from collections.abc import Iterable

from assistant.language.vocabulary import MISHAPS
from assistant.procedure.model.kinds import Check, Open, Reading, Wet
from assistant.procedure.rules.base import NOTE, WARNING, Hit, rule
from assistant.procedure.rules.walk import Context

_LOOKS = ("light", "rigorous", "sporicidal", "under_tray", "start_of_day", "end_of_day")


@rule("glove-integrity", "Gloves are looked at for damage before the hands go in.")
def glove_integrity(c: Context) -> Iterable[Hit]:
    if c.procedure.purpose not in _LOOKS:
        return
    for walk in c.walks().values():
        for v in walk:
            if getattr(v.flat.model, "role", None) == "glove_integrity":
                break
            if (v.step.kind == "move" and v.step.hands == "gauntlets") or v is walk[-1]:
                yield (
                    v.flat.model,
                    "",
                    "The hands go in before the gauntlets were looked at.",
                    "Include before-the-start.",
                )
                return


@rule(
    "dates-checked",
    "Dates that forbid the work (certification, glove change) are checked first; a light clean counts on the start of day.",
)
def dates_checked(c: Context) -> Iterable[Hit]:
    # Between two preparations nothing has changed since the start of the day, which asks for both dates.
    if c.procedure.purpose not in _LOOKS or c.procedure.purpose == "light":
        return
    for role, what in (("certification", "certification"), ("glove_change", "glove change")):
        found = c.with_role(role)
        first_wet = next(
            (i for i, s in enumerate(c.loaded.steps) if s.model.do in ("wet", "move")), len(c.loaded.steps)
        )
        if not any(c.loaded.steps.index(f) < first_wet for f in found):
            yield (
                c.procedure,
                "steps",
                f"The {what} date isn't checked before the work.",
                "Include before-the-start.",
            )


@rule("readings-around", "The pressure is read before the work and after it.")
def readings_around(c: Context) -> Iterable[Hit]:
    if not c.enclosure.gauges or c.procedure.purpose == "other":
        return
    readings = [i for i, s in enumerate(c.loaded.steps) if s.model.do == "reading"]
    work = [i for i, s in enumerate(c.loaded.steps) if s.model.do in ("wet", "cycle", "open")]
    if not work:
        return
    if not readings or readings[0] > work[0]:
        yield c.procedure, "steps", "Nothing is read before the work.", "Add a reading at the start."
    if not readings or readings[-1] < work[-1]:
        yield c.procedure, "steps", "Nothing is read after the work.", "Add a reading at the end."


@rule("limits-sourced", "A gauge has limits, and they come from the maker's or the site's document.")
def limits_sourced(c: Context) -> Iterable[Hit]:
    for gauge in c.enclosure.gauges:
        if gauge.low is None and gauge.high is None:
            yield gauge, "", f"{gauge.id} has no limit.", "Add low or high, with the sign the gauge shows."
        if not gauge.source.strip():
            yield gauge, "source", f"{gauge.id} doesn't say where its limits come from.", "Name the document."


@rule("limits-changed", "A step's own limits are not wider than the gauge's.")
def limits_changed(c: Context) -> Iterable[Hit]:
    from decimal import Decimal

    gauges = {g.id: g for g in c.enclosure.gauges}
    for _, m in c.everywhere(Reading):
        gauge = gauges[m.gauge]
        if m.low is not None and gauge.low is not None and Decimal(m.low) < Decimal(gauge.low):
            yield m, "low", f"{m.low} is below the gauge's limit {gauge.low}.", "Leave low out."
        if m.high is not None and gauge.high is not None and Decimal(m.high) > Decimal(gauge.high):
            yield m, "high", f"{m.high} is above the gauge's limit {gauge.high}.", "Leave high out."


@rule("unit-differs", "A reading is asked for in the unit its gauge shows.")
def unit_differs(c: Context) -> Iterable[Hit]:
    gauges = {g.id: g for g in c.enclosure.gauges}
    for _, m in c.everywhere(Reading):
        if m.unit is not None and m.unit != gauges[m.gauge].unit:
            yield m, "unit", f"{m.gauge} shows {gauges[m.gauge].unit}, not {m.unit}.", "Leave unit out."


@rule("stand-clearance", "Before the stand moves, duct, cables, the space above and feet are checked.")
def stand_clearance(c: Context) -> Iterable[Hit]:
    steps = c.loaded.steps
    for i, flat in enumerate(steps):
        if getattr(flat.model, "role", None) == "raise_stand" and i:
            asked = steps[i - 1].model.say["en"].lower()
            missing = [w for w in ("duct", "cable", "above", "feet") if w not in asked.replace("overhead", "above")]
            if missing and getattr(steps[i - 1].model, "role", None) == "clearance":
                yield (
                    steps[i - 1].model,
                    "say",
                    f"{steps[i - 1].id} doesn't ask about: {', '.join(missing)}.",
                    "Ask about the duct, the cables, the space above and the feet.",
                )
    for i, flat in enumerate(steps):
        if getattr(flat.model, "role", None) in ("raise_stand", "lower_stand"):
            if i == 0 or getattr(steps[i - 1].model, "role", None) != "clearance":
                yield (
                    flat.model,
                    "",
                    f"{flat.id} moves the stand without a check directly before.",
                    "Add one.",
                )


@rule("stand-height", "The stand goes up at least 76 mm (3 in.) to reach the caster supports.")
def stand_height(c: Context) -> Iterable[Hit]:
    import re

    for flat in c.with_role("raise_stand"):
        found = re.search(r"(\d+) millimetres", flat.model.say["en"])
        if found is None or int(found[1]) < 76:
            yield (
                flat.model,
                "say",
                f"{flat.id} doesn't raise the stand by 76 millimetres or more.",
                "Say how far.",
            )


@rule("caution-missing", "A step that can hurt carries a caution.")
def caution_missing(c: Context) -> Iterable[Hit]:
    for flat in c.with_role("raise_stand", "lift_tray", "waste_passed_out"):
        if not flat.model.caution:
            yield flat.model, "", f"{flat.id} can hurt and has no caution.", "Add one."
    for flat, m in c.main(Open):
        if c.opening(m.opening).opens_chamber and not m.caution:
            yield m, "", f"{flat.id} opens the chamber without a caution.", "Add one."


@rule("local-rules", "The procedure says that local rules and the maker's instructions come first.", WARNING)
def local_rules(c: Context) -> Iterable[Hit]:
    texts = " ".join(t.get("en", "") for t in c.procedure.cautions).lower()
    if "local rules" not in texts or "maker" not in texts:
        yield c.procedure, "cautions", "No caution defers to local rules and the maker.", "Add one."


@rule("witness-alone", "A step needs a witness only where a second person is at hand.")
def witness_alone(c: Context) -> Iterable[Hit]:
    if c.procedure.second_person:
        return
    for flat in c.everything():
        if flat.model.do == "witness" or getattr(flat.model, "policy", "") == "witness":
            yield (
                flat.model,
                "",
                f"{flat.id} needs a witness; the procedure says nobody is there.",
                "second_person: yes",
            )


@rule("mishap-missing", "Every word for a mishap has its branch.")
def mishap_missing(c: Context) -> Iterable[Hit]:
    known = {m.model.word for m in c.loaded.mishaps}
    missing = [word for word in MISHAPS if word not in known]
    if missing:
        yield (
            c.procedure,
            "",
            f"Nothing happens when this is said: {', '.join(missing)}.",
            "Include the part mishaps: mishap_parts: [{part: mishaps}].",
        )


@rule("mishap-no-way-back", "A mishap branch leads back to work, or stops and says who must be told.")
def mishap_no_way_back(c: Context) -> Iterable[Hit]:
    for m in c.loaded.mishaps:
        model = m.model
        if model.then == "stop" and not model.tell:
            yield model, "then", f"{m.id} stops and tells nobody.", "Add tell."
        if model.then == "resume" and not m.steps and not model.spoils:
            yield model, "", f"{m.id} does nothing.", "Add steps or what it spoils."
        for flat in m.steps:
            if (
                getattr(flat.model, "on_no", "") == f"mishap:{m.id}"
                or getattr(flat.model, "on_outside", "") == f"mishap:{m.id}"
            ):
                yield flat.model, "on_no", f"{flat.id} leads into its own branch again.", "Use stop or again."
            if flat.model.do == "check" and flat.model.on_no == "again" and model.then != "resume":
                yield flat.model, "on_no", f"{flat.id} can be asked for ever before the stop.", "Use deviate."


@rule("mishap-spoils-nothing", "A mishap that touches surfaces says what it spoils.")
def mishap_spoils_nothing(c: Context) -> Iterable[Hit]:
    spoiling = {"torn_glove", "spill", "dropped_item", "dry_surface", "wipe_reused", "agent_out", "touched"}
    for m in c.loaded.mishaps:
        if m.model.word in spoiling and not m.model.spoils:
            yield m.model, "", f"{m.id} spoils nothing, so nothing is done again.", "Add spoils."


@rule("mishap-breaks-cycles", "A pressure alarm and a power cut break the machine's cycles.")
def mishap_breaks_cycles(c: Context) -> Iterable[Hit]:
    for m in c.loaded.mishaps:
        if m.model.word in ("pressure_alarm", "power_cut") and not m.model.breaks_cycles:
            yield m.model, "", f"{m.id} leaves purge and run-up counting.", "breaks_cycles: yes"


@rule("person-first", "A mishap that hurts a person begins with the person.")
def person_first(c: Context) -> Iterable[Hit]:
    for m in c.loaded.mishaps:
        if (
            m.model.word in ("torn_glove", "splash", "unwell", "fire")
            and m.steps
            and getattr(m.steps[0].model, "role", None) != "person_care"
            and getattr(m.steps[0].model, "hands", None) != "room"
        ):
            yield (
                m.steps[0].model,
                "",
                f"{m.id} begins with something else than the person.",
                "First a move of the hands to the room, or role: person_care.",
            )


@rule(
    "safeguard-unread",
    "An answer at the start that drops a decontamination is read back, with what it means, before it counts.",
)
def safeguard_unread(c: Context) -> Iterable[Hit]:
    took: dict[tuple[tuple[str, bool], ...], set[str]] = {
        options: {v.step.surface for v in walk if v.step.kind == "wet" and "decontamination" in v.flat.model.serves}
        for options, walk in c.walks().items()
    }
    for option in c.procedure.options:
        for options, surfaces in took.items():
            yes = dict(options)[option.id]
            other = tuple((o, not v if o == option.id else v) for o, v in options)
            if took.get(other, set()) - surfaces and (option.read_back is not yes or not option.claim):
                yield (
                    option, "id",
                    f"{'Yes' if yes else 'No'} to {option.id} drops the decontamination of "
                    f"{min(took[other] - surfaces)}, and a single word says so.",
                    f"Add read_back: {'yes' if yes else 'no'}, with a claim that says what it means.",
                )
                break


_HAZARDS = ("glass", "sharp", "needle", "cracks", "holes", "torn", "leak")
_HAZARD_ROLES = ("glove_integrity", "tightness", "protective_equipment", "clearance")


@rule(
    "hazard-goes-on",
    "Where \"no\" says that a hazard is there (glass, a hole, no respirator), work doesn't go on past it.",
)
def hazard_goes_on(c: Context) -> Iterable[Hit]:
    for flat, m in c.everywhere(Check):
        asked = any(word in m.say["en"].lower() for word in _HAZARDS)
        if m.on_no == "deviate" and (asked or m.role in _HAZARD_ROLES):
            yield (
                m, "on_no", f"{flat.id} goes on although the answer names a hazard.",
                "Lead into a branch that takes it away (on_no: mishap:...), ask again, or stop.",
            )


@rule("fire-leaves", "Fire leads out by the shortest way, with nothing to confirm.")
def fire_leaves(c: Context) -> Iterable[Hit]:
    for m in c.loaded.mishaps:
        if m.model.word == "fire" and (m.model.then != "leave" or len(m.steps) > 2):
            yield m.model, "then", "Fire doesn't lead straight out.", "then: leave, with one or two lines"


@rule("why-missing", "Steps that make people wait or wet a surface for minutes say why, at least once.", NOTE)
def why_missing(c: Context) -> Iterable[Hit]:
    purposes = ("light", "rigorous", "sporicidal")
    if c.procedure.purpose in purposes and not any(m.why for _, m in c.main(Wet)):
        yield c.procedure, "steps", "No wet step says why.", "Add why to the main one."

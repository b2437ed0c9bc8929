"""Rules about where the hands are and what can be seen or reached from there."""

from __future__ import annotations

from collections.abc import Iterable

from assistant.procedure.compiling.expand import FlatStep
from assistant.procedure.model.kinds import Check, Move, Note, Reading
from assistant.procedure.rules.base import WARNING, Hit, rule
from assistant.procedure.rules.walk import Context


@rule("hands-elsewhere", "No step needs hands that are elsewhere.")
def hands_elsewhere(c: Context) -> Iterable[Hit]:
    seen = set()
    for v in c.visits():
        if (
            v.step.kind in ("move", "wait")
            or not v.step.reach
            or v.step.reach == v.hands
            or v.step.id in seen
        ):
            continue
        seen.add(v.step.id)
        yield (
            v.flat.model,
            "reach",
            f"{v.step.id} is done {_at(v.step.reach)}; the hands are {_at(v.hands)}.",
            "Move the hands before, or change reach.",
        )


def _at(reach: str) -> str:
    return {"room": "in the room", "gauntlets": "in the gauntlets", "window": "through the window"}[reach]


@rule("opening-out-of-reach", "A door or a cycle's switch is worked from where it can be reached.")
def opening_out_of_reach(c: Context) -> Iterable[Hit]:
    seen = set()
    for v in c.visits():
        wanted = ""
        if v.step.kind in ("open", "close"):
            wanted, what = c.plan.openings[v.step.opening].reach, v.step.opening
        elif v.step.kind == "cycle":
            wanted, what = c.plan.cycles[v.step.cycle].reach, v.step.cycle
        elif v.step.kind == "machine":
            machine = next(m for m in c.enclosure.machines if m.id == v.step.machine)
            wanted, what = machine.reach, machine.id
        if wanted and wanted != v.hands and v.step.id not in seen:
            seen.add(v.step.id)
            yield (
                v.flat.model,
                "",
                f"{what} is reached {_at(wanted)}; the hands are {_at(v.hands)}.",
                "Move the hands before.",
            )


@rule("gauge-out-of-sight", "A gauge is read from where it can be seen.")
def gauge_out_of_sight(c: Context) -> Iterable[Hit]:
    seen = set()
    gauges = {g.id: g for g in c.enclosure.gauges}
    for v in c.visits():
        m = v.flat.model
        if (
            isinstance(m, Reading)
            and v.hands not in gauges[m.gauge].read_from
            and v.step.id not in seen
        ):
            seen.add(v.step.id)
            yield (
                m,
                "gauge",
                f"{m.gauge} can't be read with the hands {_at(v.hands)}.",
                "Read it elsewhere, or correct read_from.",
            )


@rule(
    "label-out-of-sight",
    "Lots and dates are taken before the hands go in, unless the label can be read inside.",
)
def label_out_of_sight(c: Context) -> Iterable[Hit]:
    seen = set()
    markings = {m.id: m for m in c.enclosure.markings}
    for v in c.visits():
        m = v.flat.model
        if (
            m.do in ("note", "check")
            and m.marking
            and v.hands not in markings[m.marking].read_from
            and v.step.id not in seen
        ):
            seen.add(v.step.id)
            yield m, "marking", f"{m.marking} can't be read with the hands {_at(v.hands)}.", "Read it before."


@rule("note-without-label", "A note, and a check of a date, say which label they are read from.", WARNING)
def note_without_label(c: Context) -> Iterable[Hit]:
    dated = ("certification", "glove_change", "in_use_life")
    for flat in c.everything():
        m = flat.model
        if isinstance(m, Note | Check) and not m.marking and (isinstance(m, Note) or m.role in dated):
            yield m, "", f"{flat.id} doesn't say which label is read.", "Add marking."


@rule(
    "move-undescribed", "Every move of the hands is described with its glove hygiene in the enclosure's file."
)
def move_undescribed(c: Context) -> Iterable[Hit]:
    seen = set()
    for v in c.visits():
        pair = f"{v.hands}>{v.step.hands}"
        if (
            v.step.kind == "move"
            and v.hands != v.step.hands
            and pair not in c.enclosure.moves
            and pair not in seen
        ):
            seen.add(pair)
            yield (
                v.flat.model,
                "hands",
                f"{c.enclosure.id} doesn't say how hands move {pair}.",
                "Add it to moves.",
            )


@rule("move-to-nowhere", "Hands go through the window only while it is open.")
def move_to_nowhere(c: Context) -> Iterable[Hit]:
    chamber = {o.id for o in c.enclosure.openings if o.opens_chamber}
    seen = set()
    for v in c.visits():
        if (
            v.step.kind == "move"
            and v.step.hands == "window"
            and v.step.id not in seen
            and not any(v.openings.get(o) == "open" for o in chamber)
        ):
            seen.add(v.step.id)
            yield (
                v.flat.model,
                "hands",
                f"{v.step.id} reaches through a window that is closed.",
                "Open it before.",
            )


@rule("window-on-hands", "The window is closed only after the hands are out of it.")
def window_on_hands(c: Context) -> Iterable[Hit]:
    seen = set()
    for v in c.visits():
        if (
            v.step.kind == "close"
            and c.opening(v.step.opening).opens_chamber
            and v.hands == "window"
            and v.step.id not in seen
        ):
            seen.add(v.step.id)
            yield (
                v.flat.model,
                "",
                f"{v.step.id} closes the window on the hands.",
                "Take the hands out before.",
            )


@rule("hands-at-end", "The hands end where the procedure says.")
def hands_at_end(c: Context) -> Iterable[Hit]:
    for walk in c.walks().values():
        hands, last = c.plan.start_hands, None
        for v in walk:
            if v.step.kind == "move":
                hands, last = v.step.hands, v.flat
        if hands != c.plan.end_hands:
            yield (
                last.model if last else c.procedure,
                "",
                f"The hands end {_at(hands)}.",
                f"They should end {_at(c.plan.end_hands)}.",
            )
            return


@rule("machine-at-end", "Every machine is left as the file says.")
def machine_at_end(c: Context) -> Iterable[Hit]:
    for walk in c.walks().values():
        state: dict[str, tuple[str, FlatStep | None]] = {m: (v, None) for m, v in c.plan.start_machines.items()}
        for v in walk:
            if v.step.kind == "machine":
                state[v.step.machine] = (v.step.machine_value, v.flat)
        for machine, (value, flat) in state.items():
            if value != c.plan.end_machines.get(machine, value):
                yield (
                    flat.model if flat else c.procedure,
                    "",
                    f"{machine} is left {value}.",
                    f"It should be {c.plan.end_machines[machine]} at the end.",
                )
                return


@rule("move-without-hygiene", "A move says the glove hygiene it needs.", WARNING)
def move_without_hygiene(c: Context) -> Iterable[Hit]:
    words = ("glove", "gauntlet", "장갑", "건틀릿", "hands out", "bag out")
    for flat, m in c.main(Move):  # in a branch the person comes first
        for language, text in m.say.items():
            if not any(w in text.lower() for w in words):
                yield (
                    m,
                    f"say.{language}" if isinstance(m._raw.get("say"), dict) else "say",
                    f"{flat.id} moves the hands and says nothing about the gloves.",
                    "Say what the gloves need.",
                )

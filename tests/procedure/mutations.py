"""One mechanical mutation of a shipped procedure for each static rule: small text edits, each of which must apply."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

E, A = "enclosures/gb-2.yaml", "agents/northmere.yaml"
AP = "agents/tern-hill.yaml"
LIGHT, RIGOROUS = "gb-2/gb-2-light-clean.yaml", "gb-2/gb-2-rigorous-clean.yaml"
SPORICIDAL, END = "gb-2/gb-2-sporicidal-clean.yaml", "gb-2/gb-2-end-of-day.yaml"
SLEEVES = "gb-2/gb-2-glove-sleeve-change.yaml"
PI = "pi-1/pi-1-rigorous-clean.yaml"
MISHAPS, LOAD = "parts/mishaps.yaml", "parts/load-wiped-airlock.yaml"
BAG, BAG_IN, BAG_OUT = "parts/waste-bagged.yaml", "parts/waste-to-airlock.yaml", "parts/waste-from-airlock.yaml"
BEFORE, PACK, TRAY = "parts/before-the-start.yaml", "parts/pack-noted.yaml", "parts/under-tray.yaml"


@dataclass(frozen=True)
class Swap:
    """Puts `new` in the place of `old` (the first `count` times, 0: every time)."""

    file: str
    old: str
    new: str = ""
    count: int = 1

    def apply(self, folder: Path) -> None:
        path = folder / self.file
        text = path.read_text(encoding="utf-8")
        assert self.old in text, f"{self.old!r} isn't in {self.file}"
        path.write_text(text.replace(self.old, self.new, self.count or -1), encoding="utf-8")


@dataclass(frozen=True)
class Drop:
    """Takes a whole step out."""

    file: str
    step: str

    def apply(self, folder: Path) -> None:
        path = folder / self.file
        text = path.read_text(encoding="utf-8")
        pattern = rf"(?m)^  - (?:\{{id: {self.step}, do:.*\n|id: {self.step}\n(?:    .*\n)+)"
        text, found = re.subn(pattern, "", text, count=1)
        assert found == 1, f"no step {self.step} in {self.file}"
        path.write_text(text, encoding="utf-8")


_PEROXIDE = "      - {agent: alcohol, why: A peroxide left on the surface must not meet alcohol.}\n"
_PEROXIDE_BACK = (
    "      - {agent: decontaminant, why: A peroxide left on the surface must not meet alcohol.}\n"
)
_DISINFECT = "    agent: disinfectant\n    serves: [cleaning, disinfection]\n"
_LONG = " ".join(["Look at the left side once more."] * 9)

# rule -> (procedure, edits)
MUTATIONS: dict[str, tuple[str, list[Swap | Drop]]] = {
    # agents
    "agent-on-material": (
        "gb-2-light-clean",
        [Swap(LIGHT, "surfaces: [left_tray, right_tray]", "surfaces: [window_inside]")],
    ),
    "alcohol-on-plastic": (
        "gb-2-light-clean",
        [
            Swap(
                A,
                "materials: [stainless_steel]\n    forbidden: [acrylic, ",
                "materials: [stainless_steel, acrylic]\n    forbidden: [",
            )
        ],
    ),
    "agent-too-strong": ("gb-2-light-clean", [Swap(A, "strength: 70 %", "strength: 80 %")]),
    "harsh-on-plastic": ("gb-2-light-clean", [Swap(A, "    active: quaternary_ammonium\n", "    active: ammonia\n")]),
    "unsterile-inside": ("gb-2-light-clean", [Swap(A, "    sterile: yes\n")]),
    "oxidiser-and-acid": (
        "gb-2-light-clean",
        [Swap(A, "    active: quaternary_ammonium\n", "    active: quaternary_ammonium\n    acid: yes\n")],
    ),
    "alcohol-without-strength": ("gb-2-light-clean", [Swap(A, "    strength: 70 %\n")]),
    "ethanol-no-disinfection": (
        "pi-1-rigorous-clean",
        [
            Swap(
                AP,
                "stock_strength: 96 %\n    serves: [cleaning]",
                "stock_strength: 96 %\n    serves: [cleaning, disinfection]",
            )
        ],
    ),
    "agents-meet": ("gb-2-sporicidal-clean", [Drop(SPORICIDAL, "rinse")]),
    "oxidiser-and-alcohol": (
        "gb-2-light-clean",
        [Swap(A, "    clashes:\n" + _PEROXIDE), Swap(A, _PEROXIDE_BACK)],
    ),
    "alcohol-volume": (
        "gb-2-rigorous-clean",
        [Swap(A, "max_volume_per_run_ml: 60", "max_volume_per_run_ml: 20")],
    ),
    "ignition-caution": (
        "gb-2-rigorous-clean",
        [Swap(RIGOROUS, "    caution: No spark or heat while it is wet.\n")],
    ),
    "purpose-not-served": (
        "gb-2-light-clean",
        [Swap(LIGHT, "serves: [cleaning, disinfection]", "serves: [deactivation, disinfection]")],
    ),
    "wet-time-unmeasured": ("gb-2-light-clean", [Swap(A, "    wet_time_source: Site sheet 7\n")]),
    "expiry-not-checked": ("gb-2-light-clean", [Drop(LIGHT, "disinfectant_pack")]),
    "lot-not-noted": ("gb-2-light-clean", [Swap(PACK, "value: lot", "value: date")]),
    "in-use-life-unchecked": ("gb-2-light-clean", [Swap(PACK, "role: in_use_life", "role: tightness")]),
    # spraying
    "spray-hazardous": ("gb-2-light-clean", [Swap(LIGHT, _DISINFECT, _DISINFECT + "    method: spray\n")]),
    "spray-delicate": (
        "pi-1-rigorous-clean",
        [Swap(PI, "    agent: detergent\n", "    agent: detergent\n    method: spray\n")],
    ),
    "delicate-damp": ("gb-2-light-clean", [Swap(E, "en: Use a damp wipe and light strokes.", "en: Use light strokes.")]),
    "filter-media": (
        "gb-2-light-clean",
        [Swap(A, "forbidden: [filter_media, electronics]", "forbidden: [electronics]")],
    ),
    "agent-form-spray": ("gb-2-light-clean", [Swap(A, "form: wetted_wipe", "form: spray")]),
    # order
    "wiping-order": (
        "gb-2-rigorous-clean",
        [
            Swap(
                RIGOROUS,
                "[ceiling, back_wall, left_wall, right_wall, left_tray, right_tray]",
                "[left_tray, back_wall, left_wall, right_wall, ceiling, right_tray]",
            )
        ],
    ),
    "surface-left-out": (
        "gb-2-light-clean",
        [Swap(LIGHT, "  - {surface: return_grille, why: Nothing is worked on it. The rigorous clean takes it.}\n")],
    ),
    "zone-unclaimed": ("gb-2-light-clean", [Swap(LIGHT, "cleans_zones: [airlock, work_area, sleeves]\n")]),
    "residue-first": (
        "gb-2-rigorous-clean",
        [Drop(RIGOROUS, "airlock_first")],
    ),
    "alcohol-last": (
        "gb-2-rigorous-clean",
        [
            Swap(RIGOROUS, "    agent: alcohol\n    serves: [disinfection]\n", "    agent: sterile_water\n"),
            Swap(RIGOROUS, "    agent: sterile_water\n", "    agent: alcohol\n"),
        ],
    ),
    "tray-not-lifted": ("gb-2-rigorous-clean", [Drop(TRAY, "lift")]),
    "way-not-required": ("gb-2-rigorous-clean", [Swap(TRAY, '    requires: [{opening: "{space}", is: open}]\n', "", 0)]),
    "both-trays": ("gb-2-rigorous-clean", [Drop(RIGOROUS, "under_right")]),
    "gauntlets-after-dirt": (
        "gb-2-rigorous-clean",
        [Swap(RIGOROUS, "    zone: sleeves\n", "    zone: work_area\n", 0)],
    ),
    # times
    "contact-too-short": ("gb-2-light-clean", [Swap(LIGHT, _DISINFECT, _DISINFECT + "    contact: 1 min\n")]),
    "disinfectant-without-contact": ("gb-2-light-clean", [Swap(A, "    contact: 2 min\n")]),
    "area-too-large": ("gb-2-light-clean", [Swap(E, "area: 5000 cm2", "area: 90000 cm2")]),
    "wet-time-missing": ("gb-2-light-clean", [Swap(A, "upright: 115 s, floor: 220 s", "floor: 220 s")]),
    "no-rewetting": ("gb-2-light-clean", [Swap(LIGHT, _DISINFECT, _DISINFECT + "    lead: 3 min\n")]),
    "rewet-too-late": ("gb-2-light-clean", [Swap(LIGHT, _DISINFECT, _DISINFECT + "    lead: 30 s\n")]),
    "rewet-out-of-reach": ("gb-2-light-clean", [Drop(LIGHT, "window_acted"), Drop(LIGHT, "acted")]),
    "purge-too-short": (
        "gb-2-light-clean",
        [
            Swap(E, "duration: 100 s", "duration: 1 min"),
            Swap(E, "    validated_by: Northmere purge validation, report 12\n"),
        ],
    ),
    "purge-unfounded": (
        "gb-2-light-clean",
        [
            Swap(E, "    work_out: {volume: 0.09 m3, airflow: 24 m3/h, removal: 99.9 %}\n"),
            Swap(E, "    validated_by: Northmere purge validation, report 12\n"),
        ],
    ),
    "run-up-after-clean": ("gb-2-rigorous-clean", [Drop(RIGOROUS, "run_up_over")]),
    "limit-too-short": ("gb-2-light-clean", [Swap(BAG_OUT, "default: 2 h", "default: 6 min")]),
    "open-too-long": ("gb-2-light-clean", [Swap(E, "max_open: 2 min", "max_open: 10 s")]),
    "interval-too-long": ("gb-2-light-clean", [Swap(E, "sporicidal: 30 days", "sporicidal: 60 days")]),
    "interval-missing": ("gb-2-light-clean", [Swap(E, "leak_test: 30 days, ")]),
    "gloves-too-long": ("gb-2-light-clean", [Swap(E, "glove_limit: 2 h", "glove_limit: 5 min")]),
    # doors
    "opening-conditions": ("gb-2-light-clean", [Drop(LOAD, "wait_purge")]),
    "requirement-unmet": (
        "gb-2-rigorous-clean",
        [Swap(RIGOROUS, "{step: decontaminated}, ", "{step: run_up_over}, ")],
    ),
    "two-doors": ("gb-2-light-clean", [Drop(LOAD, "close_outer")]),
    "interlock-missing": ("gb-2-light-clean", [Swap(E, "  - [outer_door, inner_door]\n")]),
    "purge-before-inner-door": ("gb-2-light-clean", [Swap(E, "      - {cycle: purge, is: complete}\n")]),
    "purge-not-broken": ("gb-2-light-clean", [Swap(E, "    broken_by_openings: [outer_door]\n")]),
    "left-open": ("gb-2-light-clean", [Drop(BAG_OUT, "close_outer")]),
    "moved-twice": (
        "gb-2-light-clean",
        [Swap(BAG_OUT, "- id: open_outer\n    do: open", "- id: open_outer\n    do: close")],
    ),
    "window-too-early": (
        "gb-2-rigorous-clean",
        [
            Swap(RIGOROUS, "serves: [deactivation, decontamination]", "serves: [deactivation]", 0),
            Swap(TRAY, "default: [deactivation, decontamination]", "default: [deactivation]"),
        ],
    ),
    "fan-off-open": (
        "gb-2-rigorous-clean",
        [
            Swap(
                RIGOROUS,
                "  - id: reach_in\n",
                "  - {id: quiet, do: machine, machine: fan, value: off, when: {open_window: yes}, say: Switch the fan off.}\n"
                "  - id: reach_in\n",
            )
        ],
    ),
    "fan-in-conditions": (
        "gb-2-light-clean",
        [Swap(E, "      - {machine: fan, is: on}\n    max_open: 2 min", "    max_open: 2 min")],
    ),
    "opens-unconfirmed": ("gb-2-light-clean", [Swap(LOAD, "    policy: read_back\n")]),
    "cycle-start": ("gb-2-light-clean", [Drop(LOAD, "close_outer")]),
    "cycle-not-awaited": ("gb-2-light-clean", [Drop(LOAD, "wait_purge")]),
    "contact-not-awaited": ("gb-2-light-clean", [Drop(LIGHT, "decontaminated")]),
    "wait-for-nothing": ("gb-2-light-clean", [Swap(LOAD, "for: [purge, airlock_walls", "for: [purge, run_up, airlock_walls")]),
    # hands
    "hands-elsewhere": (
        "gb-2-light-clean",
        [
            Swap(
                BAG,
                "- id: bag_wipes\n    do: instruct\n",
                "- id: bag_wipes\n    do: instruct\n    reach: room\n",
            )
        ],
    ),
    "opening-out-of-reach": ("gb-2-light-clean", [Drop(LIGHT, "hands_out")]),
    "gauge-out-of-sight": (
        "gb-2-light-clean",
        [Swap(E, "read_from: [room, gauntlets]", "read_from: [gauntlets]")],
    ),
    "label-out-of-sight": (
        "gb-2-light-clean",
        [Swap(E, "포장 라벨}, read_from: [room]", "포장 라벨}, read_from: [gauntlets]")],
    ),
    "note-without-label": ("gb-2-light-clean", [Swap(PACK, "    marking: agent_label\n")]),
    "move-undescribed": (
        "gb-2-light-clean",
        [
            Swap(E, "  room>gauntlets:\n", "  room>gauntlets_is_gone:\n"),
            Swap(
                E,
                "  room>gauntlets_is_gone:\n    en: Clean your outer gloves. Let them dry. Put both hands into the gauntlets.\n"
                "    ko: 겉장갑을 소독하고 말리세요. 두 손을 건틀릿에 넣으세요.\n",
            ),
        ],
    ),
    "move-to-nowhere": ("gb-2-rigorous-clean", [Drop(RIGOROUS, "open_window")]),
    "window-on-hands": ("gb-2-rigorous-clean", [Drop(RIGOROUS, "reach_out")]),
    "hands-at-end": ("gb-2-light-clean", [Swap(LIGHT, "end_hands: room", "end_hands: gauntlets")]),
    "machine-at-end": ("gb-2-end-of-day", [Drop(END, "light_off")]),
    "move-without-hygiene": (
        "gb-2-light-clean",
        [Swap(LIGHT, "en: Take both hands out slowly. Clean your outer gloves.", "en: Come back slowly.")],
    ),
    # waste
    "waste-not-out": ("gb-2-light-clean", [Drop(LIGHT, "waste_out")]),
    "wipes-left-outside": ("gb-2-light-clean", [Drop(LOAD, "bin_wipes")]),
    "waste-unclosed": ("gb-2-light-clean", [Swap(BAG, "    role: waste_closed\n")]),
    "waste-unwiped": ("gb-2-light-clean", [Swap(BAG, "    role: waste_wiped\n")]),
    "gloves-after-waste": ("gb-2-light-clean", [Swap(BAG_OUT, "    role: outer_glove_change\n")]),
    "airlock-after-waste": ("gb-2-light-clean", [Drop(BAG_OUT, "airlock_again"), Drop(BAG_OUT, "airlock_acted")]),
    "room-reached": ("gb-2-rigorous-clean", [Drop(RIGOROUS, "sleeves_then"), Drop(RIGOROUS, "sleeves_done")]),
    "waste-past-interlock": ("gb-2-light-clean", [Drop(BAG_OUT, "open_outer")]),
    # gloves
    "gloves-after-room-wiping": ("gb-2-light-clean", [Drop(LOAD, "change_gloves")]),
    "gloves-after-window": ("gb-2-rigorous-clean", [Drop(RIGOROUS, "gloves_after_window")]),
    "gloves-after-tear": ("gb-2-light-clean", [Swap(MISHAPS, "role: outer_glove_change", "role: wipe_gauntlets")]),
    "change-made": ("gb-2-glove-sleeve-change", [Swap(SLEEVES, "role: sleeve_change", "role: new_wipe")]),
    # leaving something wet
    "moved-on-wet": ("gb-2-rigorous-clean", [Drop(RIGOROUS, "outside_done")]),
    "door-on-wet": ("gb-2-rigorous-clean", [Drop(RIGOROUS, "airlock_done")]),
    "waste-before-contact": ("gb-2-light-clean", [Drop(LIGHT, "window_acted")]),
    "rewet-after-dirtier": ("pi-1-rigorous-clean", [Drop(PI, "sleeves_done")]),
    "flammable-awaited": ("gb-2-light-clean", [Drop(LIGHT, "alcohol_done")]),
    # people
    "glove-integrity": ("gb-2-light-clean", [Swap(LOAD, "role: glove_integrity", "role: tightness")]),
    "dates-checked": ("gb-2-rigorous-clean", [Swap(BEFORE, "role: certification", "role: tightness")]),
    "readings-around": ("gb-2-light-clean", [Drop(LIGHT, "pressure_after")]),
    "limits-sourced": ("gb-2-light-clean", [Swap(E, '    low: "-90"\n    high: "-40"\n')]),
    "limits-changed": (
        "gb-2-light-clean",
        [Swap(LIGHT, "    gauge: chamber_pressure\n", '    gauge: chamber_pressure\n    low: "-200"\n')],
    ),
    "unit-differs": (
        "gb-2-light-clean",
        [Swap(LIGHT, "    gauge: chamber_pressure\n", "    gauge: chamber_pressure\n    unit: kPa\n")],
    ),
    "stand-clearance": ("gb-2-rigorous-clean", [Drop(RIGOROUS, "clear_to_lower")]),
    "stand-height": ("gb-2-rigorous-clean", [Swap(RIGOROUS, "80 millimetres", "50 millimetres")]),
    "caution-missing": (
        "gb-2-rigorous-clean",
        [Swap(RIGOROUS, "    caution: Watch the duct and your feet while it moves.\n")],
    ),
    "local-rules": (
        "gb-2-light-clean",
        [Swap(LIGHT, "Local rules and the maker's instructions come first.", "Work calmly.")],
    ),
    "witness-alone": ("gb-2-sporicidal-clean", [Swap(SPORICIDAL, "second_person: yes", "second_person: no")]),
    "mishap-missing": (
        "gb-2-light-clean",
        [Swap(LIGHT, "{part: mishaps}", "{part: mishaps, leave_out: [unwell]}")],
    ),
    "mishap-no-way-back": (
        "gb-2-light-clean",
        [
            Swap(
                MISHAPS,
                "    tell: {en: Tell your supervisor how you feel., ko: 몸 상태를 책임자에게 알리세요.}\n",
            )
        ],
    ),
    "mishap-spoils-nothing": ("gb-2-light-clean", [Swap(MISHAPS, "spoils: [{what: current}]", "spoils: []")]),
    "mishap-breaks-cycles": ("gb-2-light-clean", [Swap(MISHAPS, "    breaks_cycles: yes\n")]),
    "person-first": ("gb-2-light-clean", [Swap(MISHAPS, "do: move\n        hands: room", "do: instruct\n        reach: room")]),
    "safeguard-unread": ("gb-2-light-clean", [Swap(LIGHT, "    read_back: no\n")]),
    "hazard-goes-on": ("gb-2-light-clean", [Swap(MISHAPS, "on_no: mishap:sharps", "on_no: deviate")]),
    "fire-leaves": ("gb-2-light-clean", [Swap(MISHAPS, "then: leave", "then: stop")]),
    "why-missing": (
        "pi-1-rigorous-clean",
        [Swap(PI, '    why: "It works only while the {surface} stays wet for {contact}."\n')],
    ),
    # wording
    "sentence-too-long": (
        "gb-2-light-clean",
        [
            Swap(
                LIGHT,
                "Look through the window for streaks and drops. Is everything",
                "Look at every wall and both trays and the window and both gauntlets and the grille and say whether everything is",
            )
        ],
    ),
    "step-too-long": (
        "gb-2-light-clean",
        [Swap(LIGHT, "    on_no: deviate\n", f"    on_no: deviate\n    caution: {_LONG}\n")],
    ),
    "one-action": (
        "gb-2-light-clean",
        [Swap(BAG, "{en: Close the bag. Tie its neck.,", "{en: Close the bag and tie its neck.,")],
    ),
    "one-question": (
        "gb-2-light-clean",
        [Swap(LIGHT, "en: Is the next drug another one than the last?", "en: Do the drugs differ, and is either hazardous?")],
    ),
    "look-for-order": ("gb-2-rigorous-clean", [Swap(RIGOROUS, "Go on until no powder is left.", "No powder is left.")]),
    "unknown-word": ("gb-2-light-clean", [Swap(MISHAPS, "word: unwell", "word: unwel")]),
    "sounds-alike": ("gb-2-light-clean", [Swap(E, "site_words: []", "site_words: [repeat=trubble]")]),
    "site-words": ("gb-2-light-clean", [Swap(E, "site_words: []", "site_words: [once more please]")]),
    "step-unreachable": (
        "gb-2-light-clean",
        [Swap(PACK, "- id: lot\n    do: note\n", "- id: lot\n    do: note\n    when: {drugs_differ: no}\n")],
    ),
    "option-unused": (
        "gb-2-light-clean",
        [Swap(LIGHT, "options:\n", "options:\n  - {id: monday, ask: Is it Monday?}\n")],
    ),
    "wording-incomplete": ("gb-2-light-clean", [Swap(LIGHT, ', ko: "{surface} 전체가 젖었습니다"}', "}")]),
    "language-incomplete": (
        "gb-2-light-clean",
        [Swap(E, "name: {en: back wall, ko: 뒷벽}", "name: {en: back wall}")],
    ),
    "brief-longer": (
        "gb-2-light-clean",
        [
            Swap(
                LIGHT,
                "brief: {en: Pressure., ko: 압력.}",
                "brief: {en: Read the pressure of the chamber with its sign and unit., ko: 압력.}",
            )
        ],
    ),
    "claim-missing": (
        "gb-2-light-clean",
        [Swap(LOAD, "    claim: {en: the inner door is open, ko: 안쪽 문이 열렸습니다}\n")],
    ),
}

"""What is proven, each in one plain sentence."""

from __future__ import annotations

PROPERTIES: dict[str, str] = {
    "core_holds": "the core answers every input without breaking down and names a next step",
    "no_dead_end": "no run comes to a point from which there is no way on",
    "can_finish": "from every state the end, or a named safe stop, can be reached without giving up",
    "answerable": "in every state something can be answered, or time goes on by itself",
    "nothing_missing": "no run ends as complete with a contact, cycle, check, wait, waste step or witness missing",
    "waste_out": "no run ends as complete with used wipes left: after the last wiping a bag is closed, wiped and passed out",
    "end_state": "no run ends as complete with a door, machine or hand not where it belongs",
    "interlock": "no two interlocked openings are ever opened together",
    "opening_conditions": "no opening is opened, and no cycle started, without its conditions",
    "read_back": "a dangerous opening is confirmed only after it was read back",
    "hands": "no step needs a hand that is elsewhere",
    "way_open": "nothing is wetted, first or again, or passed through, with a tray down or a door shut that is lifted or open there",
    "fan": "the fan is never off with the chamber open",
    "contact_time": "no contact is complete before its surface was wet for its time",
    "cycle_time": "no cycle is complete before its time",
    "waits_kept": "no step begins before what the site waits for is over",
    "redo": "after a mishap all that it spoiled is done again before the run is complete",
    "mishap_steps": "work goes on after a mishap only when its own steps were done",
    "person_first": "the first words after a mishap that endangers a person are its own first step's",
    "urgent_only": "nothing less urgent is asked for before the last step of a mishap that endangers a person or the containment",
    "dried_owed": "what dries while a person or the containment comes first is owed, and said before the work goes on",
    "values": "no value outside its limits, and no passed date, is gone on from unnoticed",
    "limits": "no time limit passes unrecorded",
    "nothing_idle": "on the main line nothing is opened, closed or moved that is so already: a step before it is missing",
    "stands_alone": "the main line needs no step that the site didn't write, at the author's own pace",
}

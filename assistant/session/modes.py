"""The mode table: which fact moves the session from which mode to which. The table is data.

`transitions` runs it. One machine is built from the table and never changed; each look-up uses a throwaway
model, so nothing is remembered between calls and `evolve` stays pure.
"""

from __future__ import annotations

from functools import cache, lru_cache

from transitions import Machine, MachineError

from assistant.session.state import FINAL_MODES

# At work: one of these is the mode underneath every interruption.
WORKING = ("step", "value", "value_back", "read_back", "witness", "wait")
# Interruptions: they lie over a working mode (or over each other) and return to it.
OVER = ("rewet", "trouble", "which", "paused", "stopping")
MODES = ("idle", "option", "ready", *WORKING, *OVER, "recover", *sorted(FINAL_MODES))
OPEN_MODES = tuple(mode for mode in MODES if mode not in FINAL_MODES and mode != "idle")

# Where a mishap is answered, and where the assistant may come back after a break.
_ANYWHERE = (*WORKING, *OVER, "ready", "option", "recover")

# (trigger, sources, destination): exactly what inputs can lead to; a test passes through every cell.
TABLE: tuple[tuple[str, tuple[str, ...], str], ...] = (
    ("begin", ("idle",), "ready"),
    ("ask_option", ("ready",), "option"),
    ("answer_option", ("option",), "ready"),
    ("start_step", ("ready", "wait"), "step"),
    ("start_value", ("ready", "wait"), "value"),
    ("start_wait", ("ready", "wait"), "wait"),
    ("start_witness", ("ready", "wait"), "witness"),
    ("read_back", ("step", "value", "witness"), "read_back"),
    ("ask_witness", ("step",), "witness"),
    ("hear_value", ("value",), "value_back"),
    ("drop_value", ("value", "value_back"), "value"),
    ("finish_step", ("step", "value_back", "read_back", "witness"), "ready"),
    ("restart_step", ("step", "read_back", "witness"), "ready"),
    ("end_wait", ("wait",), "ready"),
    ("ask_rewet", (*WORKING, "paused", "rewet"), "rewet"),
    ("resume_rewet", ("ready", "step", "value", "value_back", "read_back", "witness"), "rewet"),
    ("ask_trouble", (*WORKING, "rewet", "paused", "stopping", "recover", "option"), "trouble"),
    ("ask_which", _ANYWHERE, "which"),
    ("pause", (*WORKING, "rewet"), "paused"),
    # In a read back the claim is dropped instead; in an open question nothing can be taken back.
    ("take_back", ("step", "value", "witness", "wait", "rewet", "paused", "recover"), "ready"),
    ("enter_branch", _ANYWHERE, "ready"),
    ("leave_branch", ("ready",), "ready"),
    ("recover", _ANYWHERE, "recover"),  # between two steps where a crash tore a decision in two
    ("ask_again", ("ready",), "recover"),
    ("begin_stop", tuple(mode for mode in _ANYWHERE if mode != "stopping"), "stopping"),
    # What lies over a mode goes back to it. "ready": the surface at hand dried meanwhile, and its step begins anew.
    ("return_to_step", ("read_back", "witness", *OVER), "step"),
    ("return_to_value", ("read_back", *OVER), "value"),
    ("return_to_witness", ("read_back", *OVER), "witness"),
    ("return_to_value_back", OVER, "value_back"),
    ("return_to_read_back", OVER, "read_back"),
    ("return_to_wait", OVER, "wait"),
    ("return_to_rewet", ("trouble", "which", "paused", "stopping"), "rewet"),
    ("return_to_paused", ("rewet", "trouble", "which", "stopping"), "paused"),
    ("return_to_stopping", ("trouble", "which"), "stopping"),
    ("return_to_option", ("trouble", "which", "stopping"), "option"),
    ("return_to_recover", ("trouble", "which", "stopping"), "recover"),
    ("return_to_ready", (*OVER, "recover"), "ready"),
    ("reach_complete", ("ready",), "complete"),
    ("reach_incomplete", ("ready",), "incomplete"),
    ("reach_stopped", ("stopping",), "stopped"),
    ("reach_left", _ANYWHERE, "left"),
)
# Only records of older rules hold these; `decide` leads to none. There a stop lay over the question that it was said
# into, and went back to it.
FORMER: tuple[tuple[str, tuple[str, ...], str], ...] = (
    ("return_to_trouble", ("stopping",), "trouble"),
    ("return_to_which", ("stopping",), "which"),
)

TRIGGERS = tuple(trigger for trigger, _, _ in (*TABLE, *FORMER))


class ModeRefused(ValueError):
    """A fact can't follow in this mode: names the trigger, the mode, and what could have followed."""


class _Model:
    """Holds one mode for the length of one look-up."""

    __slots__ = ("state",)

    def __init__(self, mode: str) -> None:
        self.state = mode


@lru_cache(maxsize=1)
def machine() -> Machine:
    """The machine over TABLE. Nobody adds to it after it is built."""
    built = Machine(model=None, states=list(MODES), initial="idle", auto_transitions=False, send_event=False)
    for trigger, sources, dest in (*TABLE, *FORMER):
        built.add_transition(trigger, list(sources), dest)
    return built


@cache
def moved(mode: str, trigger: str) -> str:
    """The mode after `trigger`. Raises ModeRefused and changes nothing where there is no row. The table never changes,
    so each row is run once and remembered: a proof asks a million times."""
    built = machine()
    model = _Model(mode)
    event = built.events.get(trigger)
    if event is None:
        raise ModeRefused(f"there is no trigger {trigger!r} in the mode table")
    try:
        event.trigger(model)
    except MachineError:
        could = ", ".join(sorted(built.get_triggers(mode))) or "nothing"
        raise ModeRefused(f"can't {trigger} in mode {mode}; here it could be: {could}") from None
    return model.state


def diagram() -> str:
    """The table as a Mermaid state diagram, one line per trigger and pair of modes."""
    lines = ["stateDiagram-v2", "    [*] --> idle"]
    for trigger, sources, dest in TABLE:
        if not trigger.startswith("return_to_"):
            lines += [f"    {source} --> {dest}: {trigger}" for source in sources]
    lines += [f"    {over} --> {mode}: return" for over in OVER for mode in ("step", "wait")]
    lines.append("    recover --> ready: return")
    lines += [f"    {mode} --> [*]" for mode in sorted(FINAL_MODES)]
    return "\n".join(lines)

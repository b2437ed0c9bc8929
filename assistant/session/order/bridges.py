"""Bridging steps: what the core asks for by itself when a step's conditions don't hold.

A site's main line never needs one (the check and the proof hold that); after a mishap, a correction or a
recovery they bring doors, hands, cycles and machines back to what the next step needs. Their ids say what they
do: "bridge:close:outer-door", "bridge:move:gauntlets", "bridge:wait:*".
"""

from __future__ import annotations

from functools import lru_cache

from assistant.language.sentences import say
from assistant.procedure.model.plan import (
    ALL_CONTACTS,
    CLOSE,
    CYCLE,
    INSTRUCT,
    MACHINE,
    MOVE,
    OPEN,
    READ_BACK,
    SINGLE,
    WAIT,
    Plan,
    Step,
)

PREFIX = "bridge:"
_MOVE = f"{PREFIX}move:"
# Of a hand-over: the new person signs in, and is heard.
SIGN_IN, MICROPHONE = f"{PREFIX}person:sign-in", f"{PREFIX}person:microphone"


def is_bridge(step_id: str) -> bool:
    """Whether the id names a generated step."""
    return step_id.startswith(PREFIX)


def bridge_step(plan: Plan, step_id: str, hands: str = "") -> Step:
    """The step an id stands for; `hands`: where they are now, from where a move then leads. Raises KeyError for an id
    that isn't a bridge of this plan."""
    return _bridge(step_id, _Key(plan), hands if step_id.startswith(_MOVE) else "")


class _Key:
    """A plan as a cache key: plans are compared by identity, since they hold dictionaries."""

    __slots__ = ("plan",)

    def __init__(self, plan: Plan) -> None:
        self.plan = plan

    def __hash__(self) -> int:
        return id(self.plan)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and other.plan is self.plan


@lru_cache(maxsize=4096)
def _bridge(step_id: str, key: _Key, hands: str) -> Step:
    plan = key.plan
    _, verb, subject = step_id.split(":", 2)
    language = plan.language
    if verb in ("open", "close"):
        opening = plan.openings[subject]
        return Step(
            step_id, OPEN if verb == "open" else CLOSE, say(language, f"bridge_{verb}", name=opening.name),
            claim=say(language, f"claim_{verb}", name=opening.name), opening=subject, reach=opening.reach,
            policy=READ_BACK if verb == "open" else SINGLE, why=say(language, "bridge_why"),
        )
    if verb == "cycle":
        cycle = plan.cycles[subject]
        return Step(
            step_id, CYCLE, say(language, "bridge_cycle", name=cycle.name), cycle=subject, reach=cycle.reach,
            claim=say(language, "claim_cycle", name=cycle.name), why=say(language, "bridge_why"),
        )
    if verb == "move":
        return Step(step_id, MOVE, _move(plan, hands, subject), hands=subject, why=say(language, "bridge_why"))
    if verb == "machine":
        machine, value = subject.split("=", 1)
        text = say(language, "bridge_machine", name=plan.machine_names.get(machine, machine), value=value)
        return Step(
            step_id, MACHINE, text, machine=machine, machine_value=value, reach="", why=say(language, "bridge_why"),
        )
    if verb == "person":
        line = {SIGN_IN: "bridge_sign_in", MICROPHONE: "bridge_microphone"}[step_id]
        return Step(step_id, INSTRUCT, say(language, line), reach="", why=say(language, "bridge_why_person"))
    if verb == "wait":
        return Step(step_id, WAIT, say(language, "wait_begin"), wait_for=(subject,), reach="")
    raise KeyError(step_id)


def _move(plan: Plan, hands: str, to: str) -> str:
    """How the hands get from where they are to `to`: in the site's words, with the glove hygiene this way needs."""
    if hands in ("", to):  # nobody is asked to move: the step is only told
        return say(plan.language, "hands_at", position=say(plan.language, f"hands_{to}"))
    return plan.move_says.get(f"{hands}>{to}") or say(plan.language, f"bridge_move_{hands}_{to}")


WAIT_ALL = f"{PREFIX}wait:{ALL_CONTACTS}"

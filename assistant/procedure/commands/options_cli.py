"""The --option NAME=yes/no of several commands."""

from __future__ import annotations

from assistant.errors import UsageError
from assistant.procedure.loading.problems import nearest
from assistant.procedure.model.plan import Plan


def parse_options(plan: Plan, given: tuple[str, ...]) -> dict[str, bool]:
    """Option ids -> answers. Raises UsageError naming the nearest option."""
    known = [o.id for o in plan.options]
    out: dict[str, bool] = {}
    for text in given:
        name, sign, answer = text.partition("=")
        if name not in known:
            raise UsageError(
                f"There is no option {name}.",
                expected=", ".join(known) or "a procedure with options",
                try_next=nearest(name, known),
            )
        if not sign or answer.lower() not in ("yes", "no"):
            raise UsageError(f"{text} isn't an answer.", expected=f"{name}=yes or {name}=no")
        out[name] = answer.lower() == "yes"
    return out

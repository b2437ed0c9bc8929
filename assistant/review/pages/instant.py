"""Where the core stood at one instant, and what was said and heard last before it."""

from __future__ import annotations

from typing import Any

from starlette.responses import Response

from assistant.review.serving.call import Call, session_url
from assistant.review.session.opened import Opened
from assistant.session.facts.lines import Heard, LineSpoken
from assistant.session.view import view


def instant_at(call: Call, opened: Opened, at_ms: int) -> dict[str, Any]:
    """What the core's state was at `at_ms`, and what was said and heard last before it."""
    state = opened.state_at(at_ms)
    said: list[dict[str, Any]] = []
    index = opened.count_at(at_ms)
    while index > 0 and len(said) < 6:
        index -= 1
        fact = opened.facts[index]
        if isinstance(fact, LineSpoken):
            said.append(
                {
                    "at_ms": fact.at_ms,
                    "who": "assistant",
                    "text": fact.text,
                    "accepted": True,
                    "reason": "",
                    "line": opened.lines[index],
                }
            )
        elif isinstance(fact, Heard):
            said.append(
                {
                    "at_ms": fact.at_ms,
                    "who": "technician",
                    "text": fact.word.replace("_", " ") or fact.value or "(not a command)",
                    "accepted": fact.accepted,
                    "reason": fact.reason,
                    "line": opened.lines[index],
                }
            )
    started = opened.record.lines[0].wall
    found: dict[str, Any] = {
        "at_ms": at_ms,
        "wall": call.desk.clock.at(started, at_ms),
        "said": said[::-1],
        "fact": opened.count_at(at_ms),
        "line": opened.lines[opened.count_at(at_ms) - 1] if opened.count_at(at_ms) else 1,
        "url": session_url(f"{opened.folder.parent.name}/{opened.folder.name}"),
        "facts": len(opened.facts),
        "view": None,
        "problem": opened.problem,
    }
    if state is not None and opened.plan is not None:
        try:
            found["view"] = view(opened.plan, state)
        except (KeyError, ValueError, IndexError, AttributeError) as error:
            found["problem"] = f"The state can't be shown: {error}"
    return found


def state(call: Call) -> Response:
    """The panel of one instant, drawn for the page's script to put in place."""
    opened = call.desk.open(call.params["enclosure"], call.params["session"])
    at_ms = min(call.query_int("t", 0), opened.end_ms)
    return call.page("_instant.html", instant=instant_at(call, opened, at_ms))


HANDLERS = {"state": state}

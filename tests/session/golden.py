"""Golden sessions: the inputs of a session and the facts they led to, as JSON lines. Written once, then kept.

One folder for each version of the core's rules. `python -m tests.session.golden` writes what is missing of today's;
delete one to have it written anew, and say why. Those of older versions stay: their facts are still folded.
"""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

from assistant.procedure.model import plan as p
from assistant.session import decide, fold, initial, inputs
from assistant.session.facts.base import Fact
from assistant.session.rules import RULES_VERSION
from assistant.session.wire import from_wire, to_wire
from tests.session.naive.compare import random_session
from tests.session.rich_plan import rich_plan
from tests.session.small_plan import small_plan
from tests.session.urgent_plan import urgent_plan
from tests.session.walk import Walk

SESSIONS = Path(__file__).resolve().parents[1] / "golden" / "sessions"
FOLDER = SESSIONS / f"v{RULES_VERSION}"
# Plans as a record dresses them: with the words of the day. When these sessions were written, yes was "confirm", and
# "cancel" left a question.
THEN = {"confirm": "confirm", "cancel": "cancel"}
PLANS = {
    "urgent": lambda: dataclasses.replace(urgent_plan(), spoken=THEN),
    "rich": lambda: dataclasses.replace(rich_plan(), spoken=THEN), "small": lambda: dataclasses.replace(small_plan(), spoken=THEN)}


def input_line(at_ms: int, given: inputs.Input) -> dict[str, object]:
    data = {f.name: getattr(given, f.name) for f in dataclasses.fields(given)
            if getattr(given, f.name) != f.default}
    return {"t": at_ms, "input": type(given).__name__, "data": data}


def read_input(line: dict[str, object]) -> inputs.Input:
    data = dict(line["data"])
    if "options" in data:
        data["options"] = tuple((o, v) for o, v in data["options"])
    return getattr(inputs, line["input"])(**data)


def read_facts(lines: list[dict[str, object]]) -> list[Fact]:
    """The facts as they were recorded."""
    return [from_wire(line["kind"], line["v"], line["data"], line["t"]) for line in lines if "kind" in line]


def replay(plan: p.Plan, lines: list[dict[str, object]]) -> list[dict[str, object]]:
    """The lines again, with the facts the core decides today."""
    state, out = initial(plan), []
    for line in lines:
        if "input" not in line:
            continue
        facts = decide(plan, state, read_input(line), line["t"])
        state = fold(state, facts)
        out.append(line)
        out += [{"t": fact.at_ms, **to_wire(fact)} for fact in facts]
    return json.loads(json.dumps(out))


def sessions() -> dict[str, tuple[str, list[tuple[int, inputs.Input]]]]:
    """name -> (plan, inputs): a run as written, one of each plan, and random ones with mishaps and breaks."""
    plain = Walk(rich_plan(), options=(("patch", True),))
    plain.finish()
    small = Walk(small_plan())
    small.go("wet-left").say("torn_glove", after=1_000)
    small.finish()
    urgent = Walk(urgent_plan(), options=(("patch", True),))
    urgent.go("wet-left").say("torn_glove", after=1_000)
    urgent.say("spill", after=30_000)
    urgent.after(100_000)
    urgent.finish()
    found = {"urgent-torn-glove": ("urgent", urgent.log), "rich-as-written": ("rich", plain.log), "small-torn-glove": ("small", small.log)}
    for seed in (3, 12, 65, 170, 224, 283):
        found[f"rich-random-{seed}"] = ("rich", random_session(rich_plan(), seed).core.log)
    return found


def main() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, (plan, log) in sessions().items():
        path = FOLDER / f"{name}.jsonl"
        if not path.exists():
            lines = replay(PLANS[plan](), json.loads(json.dumps([input_line(t, given) for t, given in log])))
            text = "\n".join(json.dumps(line, ensure_ascii=False, sort_keys=True) for line in [{"plan": plan}, *lines])
            path.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()

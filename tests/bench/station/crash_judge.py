"""Judges a killed and finished session from its file alone: plain JSON lines, no fold, none of the core's code."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from assistant.procedure.model.plan import Plan


@dataclass(slots=True)
class Judged:
    """`problems`: broken promises, in words. `cut`: waits running at a break. `naive`: those that a timer which
    simply went on would have called finished by then."""

    problems: list[str] = field(default_factory=list)
    cut: int = 0
    naive: int = 0
    verdict: str = ""


def lines_of(raw: bytes) -> list[dict[str, Any]]:
    """The whole lines of a record's bytes."""
    return [json.loads(line) for line in raw[: raw.rfind(b"\n") + 1].split(b"\n")[:-1]]


def missing(raw: bytes, told: list[str], sha: Any) -> list[str]:
    """What was told and isn't in the record: "told SEQ SHA256" against the line's own bytes, "said NUMBER TEXT"
    against the spoken lines. `sha`: bytes -> hexadecimal digest."""
    whole = raw[: raw.rfind(b"\n") + 1].split(b"\n")[:-1]
    spoken = {
        (line["data"]["line"], line["data"]["text"]) for line in map(json.loads, whole) if line["kind"] == "line_spoken"
    }
    lost = []
    for entry in told:
        word, number, rest = entry.split(" ", 2)
        if word == "told" and (int(number) > len(whole) or sha(whole[int(number) - 1]) != rest):
            lost.append(entry)
        elif word == "said" and (int(number), json.loads(rest)) not in spoken:
            lost.append(entry)
    return lost


def judge_facts(plan: Plan, lines: list[dict[str, Any]]) -> Judged:
    """Waits, order, breaks and the end of one finished session."""
    judged = Judged()
    problems = judged.problems
    running: dict[str, tuple[int, int, int]] = {}  # wait -> (from, due, least length)
    done: set[str] = set()
    answers: dict[str, bool] = {}
    latest = 0
    core: dict[str, Any] | None = None  # the latest line that isn't the record room's own
    must_tell = False  # taken up again, and the break not told yet
    for at, line in enumerate(lines):
        now, kind, data = line["t_ms"], line["kind"], line["data"]
        if now < latest:
            problems.append(f"line {at + 1}: time went back")
        latest = now
        if kind == "record_recovered":
            must_tell = core is not None and not judged.verdict
        if kind.startswith("record_"):
            continue
        if must_tell and kind != "recovered":
            problems.append(f"line {at + 1}: it went on with {kind}, as if somebody had watched")
        if kind == "recovered" and core is not None and data["unwatched_ms"] < _apart_ms(core, line):
            problems.append(f"line {at + 1}: nobody watched for {_apart_ms(core, line)} ms; {data['unwatched_ms']} told")
        must_tell, core = False, line
        if kind == "contact_started":
            least = plan.step(data["step"]).contact_ms
            running[data["surface"]] = (data["wet_since_ms"], data["complete_at_ms"], least)
        elif kind == "cycle_started":
            least = plan.cycles[data["cycle"]].duration_ms
            running[f"cycle:{data['cycle']}"] = (data["started_ms"], data["due_ms"], least)
        elif kind in ("contact_completed", "cycle_completed"):
            what = data.get("surface") or f"cycle:{data['cycle']}"
            wait = running.pop(what, None)
            if wait is None:
                problems.append(f"line {at + 1}: {what} completed, but didn't run, or ran while nobody watched")
            elif now - wait[0] < wait[2]:
                problems.append(f"line {at + 1}: {what} completed {wait[2] - now + wait[0]} ms too early")
        elif kind in ("contact_voided", "surface_spoiled", "cycle_broken"):
            running.pop(data.get("surface") or f"cycle:{data['cycle']}", None)
        elif kind == "surface_dried":
            running.pop(data["surface"], None)
        elif kind == "recovered" and data["why"] == "crash":
            judged.cut += len(running)
            judged.naive += sum(due <= now for _, due, _ in running.values())
            running.clear()  # from here on none of them may complete
            if not any(f["kind"] == "line_spoken" for f in lines[at + 1 : at + 3]):
                problems.append(f"line {at + 1}: nothing was said of the break")
        elif kind == "option_answered":
            answers[data["option"]] = data["value"]
        elif kind in ("step_confirmed", "wait_ended"):
            done.add(data["step"])
        elif kind in ("step_owed", "correction_made"):
            done.discard(data["step"])
        elif kind == "verdict_reached":
            judged.verdict = data["verdict"]
    if not judged.verdict:
        problems.append("the session was not finished")
    if judged.verdict == "complete":
        owed = [
            s.id for s in plan.steps
            if all(answers.get(w.option, False) == w.equals for w in s.when) and s.id not in done
        ]
        problems += [f"complete without {step}" for step in owed]
        problems += [f"complete while {what} runs" for what in running]
    return judged


def _apart_ms(earlier: dict[str, Any], later: dict[str, Any]) -> int:
    """Milliseconds between the wall times of two lines."""
    one, two = (datetime.fromisoformat(line["wall"]) for line in (earlier, later))
    return round((two - one).total_seconds() * 1000)

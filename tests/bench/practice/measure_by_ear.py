"""`assistant measure by-ear`: whole cleans of an operator that hears the assistant's sound and nothing else.

The same cleans with the lines given as text are the baseline of the same run.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import click

from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator.channel import Channel
from assistant.practice.operator.person import Operator
from assistant.practice.operator.persona import Persona, load_persona
from assistant.practice.simulate import Run, Simulation
from assistant.procedure.model.plan import Plan
from assistant.station.account.json_out import print_figures
from assistant.station.live.setup import Prepared, prepare
from tests.bench.practice.by_ear import CLASSES, AssistantEar, ByEar, known_sentences, open_ear
from tests.bench.practice.side_by_side import cores, side_by_side


@dataclass(frozen=True, slots=True)
class Clean:
    """One clean by ear, and the same one by text, perhaps in a process of its own."""

    procedure: str
    persona: Persona
    seed: int

    def run(self) -> dict[str, Any]:
        """Its row for `figures`. Raises ModelError, VoiceError."""
        ready, sentences = _known(self.procedure)
        ear = open_ear(ready, self.persona, self.seed, sentences=sentences)
        begun = time.perf_counter()
        heard = clean(ready.plan, self.persona, self.seed, ear)
        taken_s = time.perf_counter() - begun
        text = clean(ready.plan, self.persona, self.seed)
        return {
            "seed": self.seed, "words": ear.words, "errors": ear.errors, "lines": ear.lines, "exact": ear.exact,
            "classes": ear.classes, "by_ear": _end(heard), "text": _end(text), "taken_s": taken_s,
        }


@lru_cache(maxsize=4)
def _known(procedure: str) -> tuple[Prepared, tuple[str, ...]]:
    ready = prepare(procedure)
    return ready, tuple(known_sentences(ready.plan))


def clean(plan: Plan, persona: Persona, seed: int, ear: AssistantEar | None = None) -> Run:
    """One clean with the options as the file has them; `ear` None: the lines are given as text."""
    operator = Operator(persona, EnclosureSim(plan, seed), seed)
    listens = operator if ear is None else ByEar(operator, ear)
    options = tuple((o.id, bool(o.default)) for o in plan.options)
    return Simulation(plan, listens, Channel(persona.errors, seed), options=options).run()


def _end(run: Run) -> dict[str, Any]:
    return {
        "verdict": run.state.verdict or f"open in {run.state.mode}", "simulated_s": run.ended_ms / 1000,
        "repeats": sum(said.meant == "repeat" for said in run.operator.said),
    }


def figures(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """The sum over cleans. `word_error`: part of the words that the recogniser made otherwise (Levenshtein);
    `taken`: sentences by what the operator took them for; `session_s`: mean length of a clean."""
    words = sum(row["words"] for row in rows)
    taken: Counter[str] = Counter(dict.fromkeys(CLASSES, 0))
    for row in rows:
        taken.update(row["classes"])

    def ended(way: str) -> dict[str, Any]:
        return {
            "completed": sum(row[way]["verdict"] == "complete" for row in rows),
            "repeats_asked": sum(row[way]["repeats"] for row in rows),
            "session_s": round(sum(row[way]["simulated_s"] for row in rows) / len(rows), 1) if rows else None,
        }

    return {
        "sessions": len(rows), **ended("by_ear"), "words": words,
        "word_error": round(sum(row["errors"] for row in rows) / words, 4) if words else None,
        "sentences": sum(row["lines"] for row in rows), "sentences_exact": sum(row["exact"] for row in rows),
        "taken": dict(taken),
        "not_completed": [{"seed": row["seed"], "verdict": row["by_ear"]["verdict"]} for row in rows
                          if row["by_ear"]["verdict"] != "complete"],
        "seconds": round(sum(row["taken_s"] for row in rows), 1), "baseline_text": ended("text"),
    }


def measure_by_ear(
    procedure: str, persona: Persona, seeds: Iterable[int], jobs: int = 1, say: Callable[[str], None] = lambda text: None,
) -> dict[str, Any]:
    """The figures over one clean for each seed. Raises ModelError, VoiceError, and what a faulty procedure raises."""
    rows = []
    for _, row in side_by_side(Clean.run, [Clean(procedure, persona, seed) for seed in seeds], jobs):
        rows.append(row)
        say(f"seed {row['seed']}: {row['by_ear']['verdict']}, {row['by_ear']['repeats']} repeats asked, "
            f"{row['errors']} of {row['words']} words heard otherwise")
    return figures(rows)


@click.command("by-ear")
@click.option("--seeds", type=click.IntRange(1, 10_000), default=10, show_default=True, help="How many cleans.")
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="The first one's seed; the next has the next number.")
@click.option("--procedure", default="gb-2-light-clean", show_default=True)
@click.option("--persona", default="careful", show_default=True, help="Who hears, by id or file; the fan is theirs.")
@click.option("--jobs", type=click.IntRange(1, 64), help="Processes side by side. Only the seconds depend on it. Default: one a core.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def by_ear(seeds: int, seed: int, procedure: str, persona: str, jobs: int | None, as_json: bool) -> int:
    """Whole cleans of an operator that hears the assistant through a recogniser, with a fan running."""
    person = load_persona(persona)
    found = measure_by_ear(
        procedure, person, range(seed, seed + seeds), jobs or cores(), lambda text: click.echo(text, err=True))
    found["skipped"] = ["the operator's own voice: its answers reach the core as text (soak --sound N --by-ear has both)"]
    print_figures(found, as_json)
    return 0

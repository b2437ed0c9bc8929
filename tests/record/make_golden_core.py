"""Makes golden sessions of the real core: `python -m tests.record.make_golden_core v1`. Run once for every
version of the core's rules, when that version is finished; what is there is never made again.

`core-v1`: a scripted session with mishaps, breaks, a lost microphone, a stepped clock, a hand-over. `demo-v1`: the
demo as it was heard, with confidences and clips' hashes. Both with the site's files as they were."""

from __future__ import annotations

import random
import shutil
import sys
import tempfile
from pathlib import Path

from assistant.demo.demo import run_demo
from assistant.session import inputs
from assistant.session.facts.base import Fact
from assistant.station.live.setup import Prepared, prepare, shipped_folder
from assistant.station.loop.screen import PlainScreen
from assistant.station.script.run import run_script
from tests.session.naive.compare import random_session

GOLDEN = Path(__file__).parents[1] / "golden" / "records"
PROCEDURE, TODAY, PERSON = "gb-2-light-clean", "2026-01-05", "Ada"
SEEDS = range(200)
LONGEST_FACTS = 500
TROUBLES: tuple[inputs.Input, ...] = (
    inputs.Lost("microphone", "no sound arrives"), inputs.Back("microphone"), inputs.ClockStep(90_000),
    inputs.Gap(0, "2 blocks of sound lost"), inputs.Misheard("not a command", said="lunch", confidence_pm=410),
    inputs.LineDone(1, 100, 1900, True),
)  # fmt: skip


def richest(ready: Prepared) -> list[tuple[int, inputs.Input]]:
    """Of many random sessions the one with the most kinds of facts, and troubles of the devices put in."""

    def kinds(facts: list[Fact]) -> int:
        return len({fact.KIND for fact in facts})

    walks = [random_session(ready.plan, seed).core for seed in SEEDS]
    best = max((walk for walk in walks if len(walk.facts) < LONGEST_FACTS), key=lambda walk: kinds(walk.facts))
    log = [(at_ms, given) for at_ms, given in best.log if not isinstance(given, inputs.Tick)]
    at = sorted(random.Random(1).sample(range(5, len(log) // 2), len(TROUBLES)))
    for place, trouble in reversed(list(zip(at, TROUBLES, strict=True))):
        log.insert(place, (log[place][0], trouble))
    return log


def keep(folder: Path, target: Path) -> None:
    target.mkdir(parents=True)
    shutil.copyfile(folder / "record.jsonl", target / "record.jsonl")
    shutil.copytree(folder / "site", target / "site")


if __name__ == "__main__":
    core, demo = GOLDEN / f"core-{sys.argv[1]}", GOLDEN / f"demo-{sys.argv[1]}"
    with tempfile.TemporaryDirectory() as place:
        ready = prepare(PROCEDURE, folder=shipped_folder(), today=TODAY)
        if core.exists() or demo.exists():
            sys.exit(f"{core} or {demo} is there, and stays as it is.")
        screen = PlainScreen(ready.plan, sys.stderr)
        folder, _, problems, _ = run_script(
            ready, richest(ready), person=PERSON, records=Path(place), screen=screen
        )
        shown = run_demo(
            records=Path(place), language="en", engine="pocketsphinx", model=None, echo_db=None, snr_db=20.0,
            seed=1, open_screen=lambda plan, title: PlainScreen(plan, sys.stderr),
        )  # fmt: skip
        if problems or shown.problems:
            sys.exit(f"Not kept: {problems or shown.problems}")
        keep(folder, core)
        keep(shown.record, demo)

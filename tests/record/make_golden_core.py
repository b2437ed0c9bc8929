"""Makes a golden session of the real core: `python -m tests.record.make_golden_core core-v1`. Run once for every
version of the core's rules, when that version is finished; what is there is never made again."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from assistant.record.measure.sessions import core_record

GOLDEN = Path(__file__).parents[1] / "golden" / "records"

if __name__ == "__main__":
    target = GOLDEN / sys.argv[1]
    if target.exists():
        sys.exit(f"{target} stays as it is.")
    with tempfile.TemporaryDirectory() as place:
        folder = core_record(Path(place), 120)
        target.mkdir(parents=True)
        shutil.copyfile(folder / "record.jsonl", target / "record.jsonl")
        shutil.copytree(folder / "site", target / "site")

"""Made the golden records once: `python -m tests.record.make_golden v1`. Never run it again for a version
that is in the tests: those files stay for ever, and newer code must go on reading them."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from assistant.record.signing.signatures import sign_record, withdraw_signature
from tests.record.support import WALL, heard, new_record, spoken, supervisor

GOLDEN = Path(__file__).parents[1] / "golden" / "records"


def make(root: Path, kind: str) -> Path:
    """A short session with text beyond ASCII, a fraction, a recovery's worth of kinds, sealed."""
    writer = new_record(root, kind)
    writer.append([spoken("Wipe the ceiling, left to right."), heard("confirm", 0.875)], 1500, WALL)
    writer.append(
        [
            {
                "kind": "contact_started",
                "v": 1,
                "data": {"timer": "ceiling-1", "contact_time_s": 300, "agent": "Grüner Reiniger \u20ac"},
            }
        ],
        2000,
        WALL,
    )
    writer.append(
        [
            {"kind": "deviation", "v": 1, "data": {"what": "dried early", "amends": 3}},
            spoken("It dried. Wet it again."),
        ],
        9000,
        WALL,
    )
    writer.seal(
        310_000, WALL, verdict="stands with deviations", left_open=["deviation on line 5 has no answer"]
    )
    assert writer.folder
    if kind == "live":
        signed = sign_record(writer.folder, supervisor(), meaning="reviewed", wall=WALL)
        withdraw_signature(writer.folder, supervisor(), line=signed.seq, reason="wrong session", wall=WALL)
        sign_record(writer.folder, supervisor(), meaning="released", wall=WALL)
    return writer.folder / "record.jsonl"


if __name__ == "__main__":
    for record_kind in ("live", "practice"):
        with tempfile.TemporaryDirectory() as place:
            target = GOLDEN / f"{sys.argv[1]}-{record_kind}.jsonl"
            if target.exists():
                sys.exit(f"{target} stays as it is.")
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(make(Path(place), record_kind), target)

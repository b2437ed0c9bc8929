"""Where mutants are put, and which tests may notice them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]


@dataclass(frozen=True)
class Area:
    """A room, or a part of one, with the tests that are there for it; both relative to the checkout."""

    name: str
    files: tuple[str, ...]  # files and folders
    tests: tuple[str, ...]

    def sources(self, root: Path) -> list[str]:
        """The Python files, in order."""
        found = (
            path
            for part in self.files
            for path in ([root / part] if part.endswith(".py") else (root / part).rglob("*.py"))
        )
        return sorted(path.relative_to(root).as_posix() for path in found)


_REVIEW = "assistant/review"
AREAS = (
    Area("session", ("assistant/session",), ("tests/session", "tests/properties")),
    Area("record", ("assistant/record",), ("tests/record", "tests/contracts")),
    Area("calc", ("assistant/calc",), ("tests/calc",)),
    Area("judging", ("assistant/hearing/judging/judge.py",), ("tests/hearing/test_judge.py",)),
    Area(
        "authority",
        (
            f"{_REVIEW}/people/roles.py",
            f"{_REVIEW}/people/visits.py",
            f"{_REVIEW}/people/site_keys.py",
            f"{_REVIEW}/deciding/signing.py",
            f"{_REVIEW}/deciding/site_rule.py",
            f"{_REVIEW}/deciding/decisions.py",
            f"{_REVIEW}/pages/media.py",
        ),
        ("tests/review",),
    ),
)

"""The handbook's worked examples run as they stand, and its addresses lead somewhere."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
HANDBOOK = ROOT / "assistant" / "handbook"
PAGES = [ROOT / "DEVELOPERS.md", ROOT / "README.md", *sorted(HANDBOOK.glob("*.md"))]
EXAMPLES = dict(re.findall(r"```python (\w+)\n(.*?)```", (HANDBOOK / "extending.md").read_text(encoding="utf-8"), re.S))


def test_every_port_that_a_newcomer_extends_has_an_example() -> None:
    assert set(EXAMPLES) == {"engine", "voice", "store", "rule", "fact", "page"}


@pytest.mark.parametrize("name", sorted(EXAMPLES))
def test_the_worked_example_runs_as_it_stands_in_the_handbook(name: str) -> None:
    """In a process of its own: an example may register things."""
    assert "assert " in EXAMPLES[name]
    done = subprocess.run([sys.executable, "-c", EXAMPLES[name]], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.name)
def test_every_link_and_every_file_that_a_page_names_is_there(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    for link in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text):
        if "://" not in link:
            assert (page.parent / link).exists(), link
    for name in re.findall(r"`((?:assistant/|tests/)?[a-z_]+(?:/[a-z_]+)+\.(?:py|md|txt|json|yaml))(?::[^`]*)?`", text):
        assert any((root / name).exists() for root in (ROOT, ROOT / "assistant", ROOT / "assistant" / "hearing")), name

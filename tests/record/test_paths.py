"""Names can't leave their folder, and what is shown can't move a cursor."""

from __future__ import annotations

import os
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.record.lines.safe_text import printable
from assistant.record.storage.files import OsFiles, write_whole
from assistant.record.storage.paths import safe_name, session_folder

NASTY = [
    "../../etc/passwd",
    "/etc/passwd",
    "..",
    ".",
    "",
    "a/b",
    "a\\b",
    "CON",
    "nul.txt",
    "com1",
    "C:\\x",
    "a\0b",
    "~",
    "-rf",
    "x" * 500,
    "a\nb",
    "\u202egnp",
    "GB-2.",
    "$(reboot)",
    "%2e%2e",
    "_witness",
    "a:b",
    "\ud800",
]


@pytest.mark.parametrize("name", NASTY, ids=ascii)
def test_a_nasty_name_stays_in_its_folder(name: str):
    root = Path("/records")
    folder = session_folder(root, name, "20260314T081500Z", name)
    assert folder.parent.parent == root and ".." not in folder.parts
    assert safe_name(name) != name or name == "GB-2"


@given(st.text(st.characters()))
def test_any_name_is_one_plain_path_part(name: str):
    safe = safe_name(name)
    assert (
        safe.isascii() and len(safe) <= 64 and not set(safe) & set('/\\:*?"<>|') and safe not in (".", "..")
    )
    assert safe[0] not in ".-_" and safe == safe_name(safe)


@given(st.text(), st.text())
def test_two_names_never_share_a_folder(one: str, two: str):
    assert (safe_name(one) == safe_name(two)) <= (one == two or safe_name(one) in (one, two))


def test_a_plain_name_stays_itself():
    assert safe_name("GB-2") == "GB-2"


@given(st.text(st.characters()))
def test_nothing_shown_is_a_control_or_reordering_character(text: str):
    shown = printable(text)
    assert not [
        c
        for c in shown
        if c not in "\u200c\u200d" and unicodedata.category(c) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")
    ]


def test_terminal_escapes_are_written_out():
    assert printable("A\x1b[31mB\x07\u202e") == "A<U+001B>[31mB<U+0007><U+202E>"


def test_a_file_never_takes_the_place_of_something_that_is_no_file(tmp_path: Path) -> None:
    """As root, a report written "to" a device would have replaced its node."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(OSError, match="no ordinary file"):
        write_whole(OsFiles(), pipe, b"data")
    assert pipe.is_fifo() and [p.name for p in tmp_path.iterdir()] == ["pipe"]

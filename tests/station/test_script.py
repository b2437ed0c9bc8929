"""Scripts of inputs: what is read, and what a broken one is told."""

from __future__ import annotations

import pytest

from assistant.errors import SiteFileError
from assistant.session import inputs
from assistant.station.script.script import parse_script


def test_a_script_gives_inputs_with_their_times() -> None:
    text = ['# a note', '', '{"at_ms": 0, "input": "begin", "person": "Ada", "options": [["rinse", true]]}',
            '{"at_ms": 900, "input": "word", "word": "confirm"}', '{"at_ms": 900, "input": "value", "value": "-40"}']
    assert list(parse_script(text)) == [
        (0, inputs.Begin("Ada", options=(("rinse", True),))), (900, inputs.Word("confirm")), (900, inputs.Value("-40")),
    ]


@pytest.mark.parametrize(("line", "expected"), [
    ("{", "isn't JSON"),
    ("[1]", "isn't an object"),
    ('{"input": "tick"}', "at_ms"),
    ('{"at_ms": -1, "input": "tick"}', "at_ms"),
    ('{"at_ms": true, "input": "tick"}', "at_ms"),
    ('{"at_ms": 1, "input": "wrod"}', "isn't an input"),
    ('{"at_ms": 1, "input": "word", "word": "confrm"}', "confirm"),
    ('{"at_ms": 1, "input": "word", "wrod": "confirm"}', "no field"),
    ('{"at_ms": 1, "input": "word"}', "isn't a command"),
    ('{"at_ms": 1, "input": "value"}', "lacks a field"),
    ('{"at_ms": 1, "input": "recover", "unwatched_ms": "soon"}', "unwatched_ms"),
    ("[" * 100_000, "isn't JSON"),
])
def test_a_broken_line_is_named_with_its_place(line: str, expected: str) -> None:
    with pytest.raises(SiteFileError) as caught:
        list(parse_script(['{"at_ms": 0, "input": "tick"}', line], "walk.jsonl"))
    assert "walk.jsonl:2" in str(caught.value)
    assert expected in str(caught.value)


def test_time_never_goes_back() -> None:
    with pytest.raises(SiteFileError, match="Time goes back"):
        list(parse_script(['{"at_ms": 5, "input": "tick"}', '{"at_ms": 4, "input": "tick"}']))

"""A line's fields and times."""

from __future__ import annotations

import pytest

from assistant.errors import RecordError
from assistant.record.lines.chain import seed
from assistant.record.lines.envelope import MalformedLine, encode_line, is_wall_time, parse_line
from tests.record.support import WALL, spoken

GOOD = {
    "seq": 1,
    "t_ms": 0,
    "wall": WALL,
    "record": "live",
    "rules": 1,
    "fact": spoken(),
    "prev": seed("live"),
}


# RFC 3339 section 5.8, its examples.
@pytest.mark.parametrize(
    "text",
    [
        "1985-04-12T23:20:50.52Z",
        "1996-12-19T16:39:57-08:00",
        "1990-12-31T23:59:60Z",
        "1990-12-31T15:59:60-08:00",
        "1937-01-01T12:00:27.87+00:20",
    ],
)
def test_rfc_3339_examples_are_times(text: str):
    assert is_wall_time(text)


@pytest.mark.parametrize(
    "text",
    [
        "1985-04-12",
        "1985-04-12T23:20:50",
        "1985-02-30T23:20:50Z",
        "1985-13-01T00:00:00Z",
        "1985-04-12T24:00:00Z",
        "1985-04-12t23:20:50z",
        "1985-04-12 23:20:50Z",
        "",
        "1985-04-12T23:20:50+25:00",
        "1985-04-12T23:20:50Z\n",
        None,
        7,
    ],
)
def test_what_names_no_moment_is_no_time(text: object):
    assert not is_wall_time(text)


def test_a_line_reads_back_as_written():
    line = parse_line(encode_line(**GOOD))
    assert (line.seq, line.record, line.fact, line.own) == (1, "live", spoken(), False)


@pytest.mark.parametrize(
    "wrong",
    [
        {"seq": 0},
        {"seq": True},
        {"seq": 1.5},
        {"t_ms": -1},
        {"wall": "now"},
        {"record": "test"},
        {"rules": "1"},
        {"prev": "ab"},
        {"prev": seed("live").upper()},
        {"fact": {"kind": "Spoken", "v": 1, "data": {}}},
        {"fact": {"kind": "a.b", "v": 1, "data": {}}},
        {"fact": {"kind": "spoken", "v": 0, "data": {}}},
        {"fact": {"kind": "spoken", "v": 1, "data": []}},
        {"fact": {"kind": "spoken"}},
        {"fact": {"kind": "spoken", "v": 1, "data": {"text": "x" * (1 << 20)}}},
        {"fact": {"kind": "spoken", "v": 1, "data": {"x": float("nan")}}},
    ],
    ids=str,
)
def test_a_wrong_field_is_refused_when_writing(wrong: dict):
    with pytest.raises(RecordError):
        encode_line(**{**GOOD, **wrong})


def test_a_line_with_a_field_more_or_less_is_malformed():
    raw = encode_line(**GOOD)
    with pytest.raises(MalformedLine):
        parse_line(raw[:-1] + b',"x":1}')
    with pytest.raises(MalformedLine):
        parse_line(raw.replace(b'"rules":1,', b""))


def test_each_kind_of_record_has_its_own_seed():
    assert len({seed(kind) for kind in ("live", "practice", "demo", "script")}) == 4

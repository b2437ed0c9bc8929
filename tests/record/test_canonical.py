"""Canonical JSON against RFC 8785's own vectors, and against what isn't canonical."""

from __future__ import annotations

import json
import math
import struct

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import RecordError
from assistant.record.lines.canonical import (
    MAX_DEPTH,
    MAX_LINE_BYTES,
    NotCanonical,
    _plain,
    from_canonical,
    to_canonical,
    to_canonical_read_back,
)

# RFC 8785 section 3.2.2 (sample input) and 3.2.4 (its canonical form as bytes).
SAMPLE = r"""{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}"""
SAMPLE_BYTES = bytes.fromhex(
    "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e756d62657273223a5b3333333333333333332e"
    "333333333333332c31652b33302c342e352c302e3030322c31652d32375d2c22737472696e67223a22e282ac245c7530303066"
    "5c6e4127425c225c5c5c5c5c222f227d"
)

# RFC 8785 Appendix B: IEEE 754 bits -> text (from memory of the published table).
NUMBERS = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("ffefffffffffffff", "-1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("44b52d02c7e14af7", "1.0000000000000001e+23"),
    ("444b1ae4d6e2ef4e", "999999999999999700000"),
    ("444b1ae4d6e2ef4f", "999999999999999900000"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("41b3de4355555554", "333333333.33333325"),
    ("41b3de4355555555", "333333333.3333333"),
    ("41b3de4355555556", "333333333.3333334"),
    ("41b3de4355555557", "333333333.33333343"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
    ("43143ff3c1cb0959", "1424953923781206.2"),
]


def test_rfc_8785_sample_document_comes_out_as_its_published_bytes():
    assert to_canonical(json.loads(SAMPLE)) == SAMPLE_BYTES


@pytest.mark.parametrize(("bits", "text"), NUMBERS)
def test_rfc_8785_appendix_b_numbers(bits: str, text: str):
    assert to_canonical(struct.unpack(">d", bytes.fromhex(bits))[0]) == text.encode()


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])
def test_rfc_8785_appendix_b_refuses_nan_and_infinity(bits: str):
    with pytest.raises(RecordError):
        to_canonical(struct.unpack(">d", bytes.fromhex(bits))[0])


def test_keys_sort_by_utf_16_units_as_section_3_2_3_shows():
    # RFC 8785 section 3.2.3; the surrogate pair of U+1F600 sorts before U+FB33.
    keys = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    order = list(json.loads(to_canonical(dict.fromkeys(keys, 0))))
    assert order == ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]


values = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=4),
    max_leaves=12,
)


@given(values)
def test_what_was_written_reads_back_equal(value: object):
    assert from_canonical(to_canonical(value)) == value


@given(st.floats(allow_nan=False, allow_infinity=False).filter(lambda x: abs(x) < 2**53))
def test_fractions_read_back_equal(number: float):
    assert from_canonical(to_canonical({"x": number}))["x"] == number


@given(
    st.dictionaries(
        st.text(st.characters(max_codepoint=0x7F), max_size=6),
        st.text(st.characters(max_codepoint=0x7F)) | st.integers(-(2**53) + 1, 2**53 - 1),
        max_size=6,
    )
)
def test_the_quick_encoder_equals_the_library_where_it_is_used(value: dict):
    assert _plain.encode(value).encode() == rfc8785.dumps(value)


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**54), 2**54) | st.floats() | st.text(max_size=8),
    lambda part: (
        st.lists(part, max_size=3)
        | st.tuples(part, part)
        | st.dictionaries(st.text(max_size=4) | st.integers(0, 3), part, max_size=3)
    ),
    max_leaves=8,
)


@given(ANYTHING)
def test_a_line_is_written_as_the_library_writes_it_or_refused_as_the_library_refuses_it(value: object):
    """The reference is the `rfc8785` library itself."""
    try:
        wanted = to_canonical(value)
        from_canonical(wanted)
    except (RecordError, NotCanonical):
        with pytest.raises(RecordError):
            to_canonical_read_back(value)
    else:
        assert to_canonical_read_back(value) == wanted


@pytest.mark.parametrize("value", ["x" * MAX_LINE_BYTES, "[" * 40 + "]", [[[["[" * 40]]]]])
def test_what_is_too_long_or_too_deep_to_be_read_is_not_written(value: object):
    if isinstance(value, str) and len(value) == MAX_LINE_BYTES:
        with pytest.raises(RecordError, match="longer than"):
            to_canonical_read_back(value)
    else:
        assert from_canonical(to_canonical_read_back(value)) == value
    deep: list = []
    for _ in range(MAX_DEPTH):
        deep = [deep]
    with pytest.raises(RecordError, match="deeper"):
        to_canonical_read_back(deep)


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"{",
        b"nope",
        b'{"a":1,"a":1}',
        b'{"b":1,"a":1}',
        b'{ "a":1}',
        b'{"a":1} ',
        b'{"a":1.0}',
        b'{"a":1E2}',
        b'{"a":-0}',
        b'{"a":NaN}',
        b'{"a":-Infinity}',
        b'{"a":9007199254740992}',
        b'{"a":1e999}',
        b'{"a":"\\u0041"}',
        b'{"a":"\\/"}',
        b'{"a":"\\ud800"}',
        b'{"a":"\xff"}',
        b"\xef\xbb\xbf{}",
        b'{"a":"\x01"}',
        b"9" * 5000,
        b"[" * 100_000,
        b'{"a":' * 50_000 + b"1" + b"}" * 50_000,
        b'{"a":"\xed\xa0\x80"}',
    ],
    ids=lambda raw: repr(raw[:24]),
)
def test_bytes_that_are_not_canonical_are_refused_without_a_crash(raw: bytes):
    with pytest.raises(NotCanonical):
        from_canonical(raw)


def test_depth_counts_brackets_outside_text_only():
    assert from_canonical(to_canonical(["[" * 500])) == ["[" * 500]
    deep: list = []
    for _ in range(MAX_DEPTH - 1):
        deep = [deep]
    assert from_canonical(to_canonical(deep)) == deep
    with pytest.raises(NotCanonical):
        from_canonical(to_canonical([deep]))


@pytest.mark.parametrize("value", [{1: 2}, {"a": object()}, {"a": 2**53}, math.inf, {"a": b"x"}])
def test_values_that_json_does_not_have_are_refused(value: object):
    with pytest.raises(RecordError):
        to_canonical(value)


def test_a_lone_surrogate_from_a_file_name_becomes_the_replacement_character():
    assert to_canonical({"path": "a\udcffb"}) == '{"path":"a\ufffdb"}'.encode()

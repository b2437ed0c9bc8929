"""A record may be opened by anyone hostile: reading never crashes, hangs, fills memory or writes escapes
raw."""

from __future__ import annotations

import io
import os
import random
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import RecordError
from assistant.record.lines.canonical import MAX_LINE_BYTES
from assistant.record.lines.chain import ZEROS, seed
from assistant.record.lines.envelope import encode_line
from assistant.record.lines.reading import Ending, read_lines
from assistant.record.lines.safe_text import printable
from assistant.record.reader import read_record, read_store
from assistant.record.storage.memory_store import MemoryLineStore
from assistant.record.verify import verify, verify_stream
from tests.record.support import WALL, spoken

GOLDEN = Path(__file__).parents[1] / "golden" / "records" / "v1-live.jsonl"


def line(data: dict, kind: str = "spoken", prev: str = "", seq: int = 1) -> bytes:
    return (
        encode_line(
            seq=seq,
            t_ms=0,
            wall=WALL,
            record="live",
            rules=1,
            fact={"kind": kind, "v": 1, "data": data},
            prev=prev or seed("live"),
        )
        + b"\n"
    )


CORPUS = {
    "empty": b"",
    "newline": b"\n",
    "zeros": b"\0" * 4096,
    "not json": b"hello\n",
    "array": b"[]\n",
    "number": b"1\n",
    "null": b"null\n",
    "text": b'"x"\n',
    "half": b'{"seq":1',
    "deep": b"[" * 100_000 + b"\n",
    "deep in text of a key": b'{"a":' * 40_000 + b"\n",
    "byte order mark": b"\xef\xbb\xbf" + line({}),
    "utf-16": line({}).decode().encode("utf-16"),
    "not utf-8": b'{"a":"\xff\xfe"}\n',
    "crlf": line({})[:-1] + b"\r\n",
    "surrogate": b'{"a":"\\ud800"}\n',
    "overlong utf-8": b'{"a":"\xc0\xaf"}\n',
    "big number": b'{"a":' + b"9" * 5000 + b"}\n",
    "exponent": b'{"a":1e99999}\n',
    "twice a key": line({})[:-2] + b',"v":1}\n',
    "one long line": b"x" * (3 * MAX_LINE_BYTES),
    "long line with end": b'"' + b"x" * (2 * MAX_LINE_BYTES) + b'"\n',
    "newer": line({}, "record_opened").replace(b'"v":1', b'"v":9'),
    "seal alone": line({"count": 0, "root": "", "digest": ZEROS}, "record_sealed"),
    "seal of odd types": line(
        {"count": [], "root": {}, "digest": 7, "verdict": None, "duration_ms": "x"}, "record_sealed"
    ),
    "signature of odd types": line(
        {"name": 1, "key_id": [], "signature": {}, "digest": None}, "record_signed"
    ),
    "signature not hex": line(
        {
            "name": "a",
            "key_id": "b",
            "public_key": "zz",
            "signature": "z" * 128,
            "digest": ZEROS,
            "meaning": "",
        },
        "record_signed",
    ),
    "recovered oddly": line({"set_aside": [1, {"name": []}]}, "record_recovered"),
}


@pytest.mark.parametrize("data", CORPUS.values(), ids=CORPUS.keys())
def test_the_corpus_is_read_and_judged_without_a_crash(data: bytes, tmp_path: Path):
    (tmp_path / "a" / "b").mkdir(parents=True)
    path = tmp_path / "a" / "b" / "record.jsonl"
    path.write_bytes(data)
    report = verify(path)
    assert not report.complete
    record = read_record(path)
    assert record.ending.how in ("end_of_file", "torn", "malformed")
    assert printable(" ".join(report.problems + record.problems)) == " ".join(
        report.problems + record.problems
    )


def test_end_of_file_torn_and_malformed_are_three_answers():
    good = line({"text": "x"})
    endings = [
        list(read_lines(io.BytesIO(data)))[-1] for data in (good, good + b'{"half', good + b"wrong\n" + good)
    ]
    assert [(e.how, e.offset, e.line) for e in endings if isinstance(e, Ending)] == [
        ("end_of_file", len(good), 2),
        ("torn", len(good), 2),
        ("malformed", len(good), 2),
    ]


@given(st.binary(max_size=400))
def test_any_bytes_are_judged(data: bytes):
    assert not verify_stream(io.BytesIO(data)).complete
    assert read_store(MemoryLineStore(data)).lines == [] or data


@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers(-(2**53) + 1, 2**53 - 1)
        | st.text(max_size=8)
        | st.floats(-1e9, 1e9),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(
                    ["count", "root", "digest", "signature", "name", "withdraws", "set_aside", "x"]
                ),
                inner,
                max_size=5,
            )
        ),
        max_leaves=8,
    ),
    st.sampled_from(
        ["record_sealed", "record_signed", "record_withdrawn", "record_recovered", "record_opened"]
    ),
)
def test_well_formed_lines_with_any_data_are_judged(data: object, kind: str):
    raw = line({"d": data} if not isinstance(data, dict) else data, kind)
    assert not verify_stream(io.BytesIO(raw + raw)).complete
    record = read_store(MemoryLineStore(raw))
    assert (record.seal, record.after_seal, record.header) is not None


def test_a_fuzzed_golden_record_is_judged():
    rng = random.Random(3)
    data = GOLDEN.read_bytes()
    for _ in range(400):
        changed = bytearray(data)
        for _ in range(rng.randint(1, 12)):
            at = rng.randrange(len(changed))
            how = rng.randrange(3)
            if how == 0:
                changed[at] = rng.randrange(256)
            elif how == 1:
                del changed[at : at + rng.randint(1, 200)]
            else:
                changed[at:at] = bytes(rng.randrange(256) for _ in range(rng.randint(1, 40)))
        if bytes(changed) != data:
            assert not verify_stream(io.BytesIO(bytes(changed))).complete


def test_escapes_and_reversals_in_a_name_are_kept_as_written_and_shown_harmless(tmp_path: Path):
    name = "A\x1b]0;owned\x07\u202eB\x9b2J"
    record = read_store(MemoryLineStore(line({"technician": name}, "record_opened")))
    assert record.header["technician"] == name
    assert not set(printable(name)) & set("\x1b\x07\u202e\x9b")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_in_the_place_of_a_record_is_refused_and_not_waited_for(tmp_path: Path):
    os.mkfifo(tmp_path / "record.jsonl")
    with pytest.raises(RecordError, match="isn't a file"):
        read_record(tmp_path)


def test_checking_holds_a_few_lines_in_memory_however_long_the_record():
    class Endless(io.RawIOBase):
        """A record that is made while it is read."""

        def __init__(self, lines: int) -> None:
            self.rows = self.make(lines)
            self.rest = b""

        @staticmethod
        def make(lines: int):
            from hashlib import sha256

            prev = ""
            for seq in range(1, lines + 1):
                raw = line(spoken("x" * 500)["data"], prev=prev, seq=seq)
                prev = sha256(raw[:-1]).hexdigest()
                yield raw

        def readline(self, limit: int | None = -1) -> bytes:
            return next(self.rows, b"")

    def peak(lines: int) -> int:
        tracemalloc.start()
        assert verify_stream(Endless(lines)).lines == lines
        top = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return top

    peak(50)
    assert peak(3000) < peak(300) + 100_000

"""A site's records by their names alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.errors import RecordError
from assistant.record.storage.index import find_record, list_records
from tests.record.support import sealed_record


def test_records_are_listed_newest_first_and_opened(tmp_path: Path):
    sealed_record(tmp_path, session_id="a1")
    sealed_record(tmp_path, session_id="b2")
    (tmp_path / "PI-1" / "20260401T000000Z-c3").mkdir(parents=True)
    (tmp_path / "PI-1" / "notes").mkdir()
    (tmp_path / "stray.txt").write_text("x")
    assert [entry.session_id for entry in list_records(tmp_path)] == ["c3", "b2", "a1"]
    assert [entry.session_id for entry in list_records(tmp_path, "PI-1")] == ["c3"]
    assert list_records(tmp_path)[1].open().seal
    with pytest.raises(RecordError):
        list_records(tmp_path)[0].open()


def test_a_record_is_found_by_id_start_or_name_and_doubt_is_told(tmp_path: Path):
    sealed_record(tmp_path, session_id="a1")
    sealed_record(tmp_path, session_id="a2")
    assert find_record(tmp_path, "a1").session == find_record(tmp_path, "GB-2/20260314T081500Z-a1").session
    with pytest.raises(RecordError, match="2 records fit"):
        find_record(tmp_path, "a")
    with pytest.raises(RecordError, match="No records fit"):
        find_record(tmp_path, "zz")
    with pytest.raises(RecordError, match="no records here"):
        list_records(tmp_path / "nowhere")

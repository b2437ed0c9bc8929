"""What the house's own measure says is worked out, not written down."""

from __future__ import annotations

from tests.bench.house.trip import trip
from tests.bench.house.weights import ROOT, lines_and_files


def test_a_words_way_passes_the_rooms_it_must_and_no_page() -> None:
    way = trip()
    for must in ("hearing/listener.py", "session/decide.py", "record/writer.py", "session/evolve.py", "speaking/player.py"):
        assert must in way.files, must
    assert not any(file.startswith(("review/", "practice/", "procedure/loading")) for file in way.files)
    assert {"Utterance", "Word", "Heard", "dict"} <= way.forms


def test_a_words_way_is_at_most_what_a_newcomer_can_follow() -> None:
    """About the way found when this was first traced (54 files); it is to get shorter, never longer."""
    way = trip()
    assert len(way.files) <= 58 and len(way.forms) <= 7


def test_product_and_what_is_apart_add_up_to_all() -> None:
    found = lines_and_files()
    apart = sum(found[name]["lines"] for name in ("product", "bench", "training", "support", "tests"))
    assert apart == found["all"]["lines"] > 10_000
    assert found["product"]["files"] == len(list((ROOT / "assistant").rglob("*.py")))

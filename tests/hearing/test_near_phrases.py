"""Phrases that sound like a command of several words and aren't one."""

from __future__ import annotations

from assistant.hearing.measure.near_misses import near_phrases
from assistant.hearing.packs import load_pack


def test_one_word_is_replaced_and_then_all_and_the_two_sets_share_no_replacement():
    pack = load_pack("en").with_words({word: [] for word in load_pack("en").say if word != "pressure_alarm"})
    sets = {split: near_phrases(pack, split) for split in ("report", "tune")}
    assert len(sets["report"]) == 3 and len(sets["tune"]) == 6
    for phrases in sets.values():
        assert all(len(p.split()) == 2 and p != "pressure alarm" for p in phrases)
    replaced = [{w for p in phrases for w in p.split()} - {"pressure", "alarm"} for phrases in sets.values()]
    assert all(replaced) and not replaced[0] & replaced[1]

"""Phrases that sound like a command of several words and aren't one."""

from __future__ import annotations

import pytest

from assistant.hearing.reading.phone_scores import near_words
from assistant.hearing.vocabulary.packs import load_pack
from tests.bench.hearing import sentences
from tests.training.near_misses import near_misses, near_phrases


def test_one_word_is_replaced_and_then_all_and_the_two_sets_share_no_replacement():
    pack = load_pack("en").with_words({word: [] for word in load_pack("en").say if word != "pressure_alarm"})
    sets = {split: near_phrases(pack, split) for split in ("report", "tune")}
    assert len(sets["report"]) == 3 and len(sets["tune"]) == 6
    for phrases in sets.values():
        assert all(len(p.split()) == 2 and p != "pressure alarm" for p in phrases)
    replaced = [{w for p in phrases for w in p.split()} - {"pressure", "alarm"} for phrases in sets.values()]
    assert all(replaced) and not replaced[0] & replaced[1]


@pytest.mark.full
def test_what_is_listened_for_beside_the_commands_is_nothing_that_is_tuned_or_reported_on():
    pack, found = load_pack("en"), set(near_words())
    assert len(found) > 900 and not found & set(pack.forms)
    for split in ("report", "tune"):
        assert not found & {*near_misses(pack, split), *near_phrases(pack, split), *sentences.NEARLY_CONFIRMING[split]}

"""The embedded engine with both of its models: what it lets through, what it asks, and what it keeps to itself."""

from __future__ import annotations

from functools import lru_cache

import pytest

from assistant.hearing.engines import reading_engine
from assistant.hearing.engines.choosing import open_engine
from assistant.hearing.engines.pocketsphinx import PocketsphinxEngine
from assistant.hearing.engines.reading_engine import LEAD_MOST, OTHER_WORDS, UNREAD_LOG
from assistant.hearing.listener import Listener
from assistant.hearing.reading import phone_scores, speech_model
from assistant.hearing.reading.phone_scores import PhoneScores
from assistant.hearing.reading.reading import Reading
from assistant.hearing.vocabulary.packs import load_pack
from assistant.language import vocabulary as words
from tests.hearing.sounds import mixed, run, spoken_wave
from tests.hearing.test_fixtures import hear

reads = pytest.mark.skipif(speech_model.find() is None, reason="the attention model isn't installed here")


@lru_cache(maxsize=1)
def engine():
    return reading_engine.open_reading_engine()


def heard(lines, expect: str | None = None) -> list:
    listener = Listener(engine(), load_pack("en"))
    listener.set_active(words.ALL, expect)
    return run(listener, mixed([spoken_wave(line) for line in lines])[0])


@reads
def test_the_embedded_engine_names_all_its_models():
    about = open_engine("en", engine="pocketsphinx").describe()
    assert about["engine"] == "pocketsphinx"
    alone = PocketsphinxEngine().describe()
    assert about["model"] == f"moonshine tiny-en, phones, {alone['model']}"
    assert about["model_sha256"] != alone["model_sha256"]


def test_without_the_attention_model_pocketsphinx_listens_alone(monkeypatch):
    monkeypatch.setattr(reading_engine, "find", lambda: None)
    opened = open_engine("en", engine="pocketsphinx")
    assert isinstance(opened, PocketsphinxEngine)
    assert "moonshine" not in opened.describe()["model"]


@reads
def test_what_colleagues_say_to_each_other_is_never_handed_out_as_text():
    pack = load_pack("en")
    found = hear("chat-15db") + hear("inside-15db") + hear("prompts-15db")
    assert len(found) >= 19
    assert {u.said for u in found} <= {"", OTHER_WORDS, *pack.forms}
    assert OTHER_WORDS in {u.said for u in found}


@reads
def test_pocketsphinx_is_asked_only_where_a_command_is_plausible(monkeypatch):
    asked = []
    compare = PocketsphinxEngine.compare
    monkeypatch.setattr(PocketsphinxEngine, "compare", lambda self, pcm, form: asked.append(form) or compare(self, pcm, form))
    heard(["did you see the rota for next week", "stand by"])
    assert asked == ["stand by"]


@reads
def test_a_near_word_is_read_as_a_command_by_neither():
    found = heard(["candle", "a formative", "pleasure along", "say again what she told you"])
    assert len(found) == 4
    assert [u.word for u in found if u.accepted] == []


@reads
def test_another_form_of_a_word_is_another_word():
    found = heard(["computers", "repeated", "computer", "repeat"])
    assert [u.word for u in found if u.accepted] == ["computer", "repeat"]


@reads
@pytest.mark.parametrize(("kind", "line", "text"), [
    ("number", "minus zero point zero two", "-0.02"), ("number", "forty five", "45"), ("number", "one zero three", "103"),
    ("lot", "alpha bravo one two zero four", "AB1204"), ("date", "third of march twenty twenty seven", "2027-03-03"),
    ("lot sign", "uniform", "U"), ("number sign", "minus", "-")])
def test_values_are_read(kind, line, text):
    found = heard([line], kind)
    assert [u.value.text for u in found if u.accepted and u.value] == [text]


@reads
def test_a_command_is_still_one_where_a_value_is_asked_for():
    assert [u.word for u in heard(["stand by"], "number") if u.accepted] == ["pause"]


def likeliest(text: str, read: dict[str, float], fits: dict[str, float], other: float) -> tuple[str | None, dict[str, float]]:
    """What the engine makes of a free text, readings of our words, and log probabilities of phones behind the likeliest."""
    forms = load_pack("en").forms
    heard_phones = PhoneScores({f: fits.get(f, -90.0) for f in forms}, other, 0.0, dict.fromkeys(forms, 6))
    engine().load(load_pack("en"))
    return engine()._likeliest(Reading(text, -1.0, {(f,): log for f, log in read.items()}), heard_phones)


@reads
@pytest.mark.parametrize(("text", "form"), [
    ("stand by", "stand by"), ("stand by stand by stand by", "stand by"), ("please stand by the window", None),
    ("stan buy", "stand by"), ("", None)])
def test_a_text_round_in_circles_is_the_word_but_a_sentence_around_it_is_not(text, form):
    assert likeliest(text, {"stand by": -2.0}, {"stand by": -1.0}, -9.0)[0] == form


@reads
@pytest.mark.parametrize(("read", "ahead", "form"), [
    ({}, 1.0, "torn glove"), ({"torn glove": -9.0}, -4.0, "torn glove"), ({}, -4.0, None)])
def test_what_is_neither_read_nor_heard_before_near_words_is_no_command(read, ahead, form):
    assert likeliest("combination", read, {"torn glove": -6.0}, -6.0 - ahead)[0] == form


@reads
def test_a_word_lost_in_reading_is_found_by_its_phones():
    form, scores = likeliest("resolute", {"stop": -4.0}, {"resume": -2.0, "stop": -30.0}, -9.0)
    assert form == "resume"
    assert scores["log"] == UNREAD_LOG and scores["fit_lead"] == phone_scores.LEAD_MOST and scores["lead"] == -LEAD_MOST


@reads
@pytest.mark.parametrize(("other", "form"), [(-1.2, None), (-9.0, "computer")])
def test_read_in_the_plural_a_word_counts_only_where_its_phones_are_clearly_without(other, form):
    assert likeliest("computers", {"computer": -2.0}, {"computer": -1.0}, other)[0] == form


@reads
def test_a_word_whose_phones_do_not_fit_is_not_asked_about():
    assert likeliest("stand by", {"stand by": -2.0}, {"stand by": -40.0}, -50.0)[0] is None

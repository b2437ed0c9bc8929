"""The words themselves: complete, sayable, apart from each other."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from assistant.errors import FindingsError, ModelError, SiteFileError
from assistant.hearing.commands.vocabulary_cli import vocabulary
from assistant.hearing.vocabulary.confusability import check_form, pairs, suggestions
from assistant.hearing.vocabulary.packs import Pack, load_pack
from assistant.hearing.vocabulary.phones import distance, likeness
from assistant.language import vocabulary as words
from assistant.language.sentences import SPOKEN


def test_english_has_a_way_to_say_every_command():
    assert set(load_pack("en").say) == set(words.ALL)


def test_prompts_name_a_word_as_the_pack_listens_for_it():
    pack = load_pack("en")
    assert {word: pack.say[word][0] for word in SPOKEN["en"]} == SPOKEN["en"]


def test_korean_can_run_a_session_and_says_that_it_is_experimental():
    pack = load_pack("ko")
    assert pack.experimental
    assert set(pack.say) >= {"confirm", "no", "started", "repeat", "how_long", "still_wet", "pause", "resume", "correction",
                             "trouble", "stop", "dry_surface", "spill", "cancel"}


def test_one_form_for_two_commands_is_refused():
    with pytest.raises(SiteFileError, match="both"):
        Pack("en", {"repeat": ("again",), "resume": ("again",)})
    with pytest.raises(SiteFileError, match="isn't a command"):
        Pack("en", {"sing": ("sing",)})


@pytest.mark.parametrize("content", ["", "[]", "{}", '{"language": "en", "say": 3}'])
def test_a_broken_pack_file_is_named(tmp_path, content):
    path = tmp_path / "p.json"
    path.write_text(content)
    with pytest.raises(SiteFileError, match="language pack"):
        load_pack(path=path)


def test_no_two_commands_in_use_are_too_close():
    found = pairs(load_pack("en"))
    assert found and [p for p in found if p.too_close] == []


def test_distances_follow_the_ear():
    """Miller and Nicely (1955): voicing-only and place-only confusions are commoner than manner ones."""
    assert distance(("P",), ("B",)) < distance(("P",), ("M",)) and distance(("M",), ("N",)) < distance(("M",), ("S",))
    assert likeness("K AH N F ER M", "K AH N F ER M D") > 0.8 > likeness("K AH N F ER M", "T R AH B AH L")
    assert likeness("S", "S") == 1.0


@pytest.mark.parametrize(("word_id", "form", "says"), [("repeat", "a formative", "too much like"), ("no", "no", "too short"),
                                                       ("resume", "trouble", "too much like")])
def test_a_sites_own_word_that_is_too_close_or_too_short_is_refused_with_better_ones(word_id, form, says):
    pack = load_pack("en")
    assert any(says in reason for reason in check_form(pack, word_id, form))
    assert suggestions(pack, word_id)
    with pytest.raises(FindingsError) as caught:
        CliRunner().invoke(vocabulary, ["--try", f"{word_id}={form}"], catch_exceptions=False, standalone_mode=False)
    assert caught.value.try_next


def test_a_sites_own_word_that_the_model_does_not_know_is_named():
    with pytest.raises(ModelError, match="qwyzzk"):
        check_form(load_pack("en"), "repeat", "qwyzzk")


def test_the_command_prints_one_object():
    result = CliRunner().invoke(vocabulary, ["--json", "--engine", "pocketsphinx"])
    found = json.loads(result.stdout)
    assert found["engine"] == "pocketsphinx"
    assert {w["id"] for w in found["words"]} == set(words.ALL)
    assert all(isinstance(s, str) for w in found["words"] for s in w["say"]) and found["words"][0]["language"] == "en"

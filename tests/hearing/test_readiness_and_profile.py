"""Go, go with help, or don't; and what is learnt about a person."""

from __future__ import annotations

import json

import numpy as np
import pytest

from assistant.errors import UsageError
from assistant.hearing.judging.judge import Bars
from assistant.hearing.people.profile import Profile, learn, load_profile, save_profile
from assistant.hearing.people.readiness import (
    DONT,
    GO,
    GO_WITH_HELP,
    LevelCheck,
    check_level,
    judge_readiness,
)
from assistant.hearing.utterance import Utterance
from assistant.hearing.vocabulary.packs import load_pack
from tests.hearing.sounds import mixed, spoken_wave

GOOD = LevelCheck(2200.0, 50.0, 30.0, 0.0, False)


@pytest.mark.parametrize(("level", "heard", "more", "verdict", "says"), [
    (GOOD, 4, {}, GO, ""),
    (None, 0, {}, DONT, "no microphone"),
    (None, 0, {"other_way_in": True}, GO_WITH_HELP, "no microphone"),
    (LevelCheck(0, 0, None, 0, True), 0, {}, DONT, "no sound at all"),
    (LevelCheck(500, 300, 4.0, 0, False), 4, {"other_way_in": True}, GO_WITH_HELP, "too loud"),
    (GOOD, 2, {}, DONT, "2 of 4"),
    (LevelCheck(2200, 400, 12.0, 0, False), 4, {}, GO, ""),
    (LevelCheck(2200, 400, 12.0, 0, False), 3, {}, DONT, "a word was missed"),
    (LevelCheck(2200, 50, 30.0, 0.01, False), 4, {}, DONT, "overdriven"),
    (GOOD, 4, {"battery_s": 3600.0, "needed_s": 3600.0}, DONT, "battery"),
    (GOOD, 4, {"battery_s": 4400.0, "needed_s": 3600.0}, GO, ""),
    (GOOD, 4, {"alarms_heard": False, "other_way_in": True}, DONT, "alarms"),
    (GOOD, 4, {"load_s": 20.0}, DONT, "load"),
])
def test_verdicts(level, heard, more, verdict, says):
    found = judge_readiness(level, heard, 4, **{"alarms_heard": True, **more})
    assert found.verdict == verdict
    assert says in " ".join(found.reasons)


@pytest.mark.parametrize("noise", [20.0, 60.0, 150.0])
def test_the_signal_to_noise_ratio_is_estimated_within_three_decibels(noise):
    wave = spoken_wave("pressure alarm", level=9000.0)
    pcm, _places = mixed([wave] * 4, noise=noise)
    found = check_level(pcm)
    energy = np.sort((wave[: len(wave) // 320 * 320].reshape(-1, 320) ** 2).mean(axis=1))
    true = 20 * np.log10(np.sqrt(energy[len(energy) // 2:].mean()) / noise)
    assert found.snr_db == pytest.approx(true, abs=3.0)


def test_nothing_and_silence_are_a_dead_microphone():
    assert check_level(b"").dead and check_level(bytes(32_000)).dead


def utterance(word: str, confidence: float, accepted: bool = True) -> Utterance:
    return Utterance(0.0, 0.5, 0.75, word, None, word, accepted, "" if accepted else "not sure enough", confidence)


def test_a_profile_never_lowers_the_bar_for_a_word_that_confirms(tmp_path):
    pack = load_pack("en")
    asked = list(pack.say)
    weak = learn("Kit", pack, asked, [utterance(w, 0.05) for w in asked], [900.0] * len(asked))
    assert weak.bars.confirming >= Bars().confirming
    strong = learn("Kit", pack, asked, [utterance(w, 0.99) for w in asked], [900.0])
    assert strong.bars.confirming >= weak.bars.confirming
    path = save_profile(weak, tmp_path)
    data = json.loads(path.read_text())
    data["bars"]["confirming"] = -1.0
    path.write_text(json.dumps(data))
    assert load_profile("Kit", tmp_path).bars.confirming == Bars().confirming


def test_words_not_understood_are_named_with_alternatives_and_come_back_from_disk(tmp_path):
    pack = load_pack("en")
    asked = ["confirm", "spill", "repeat"]
    found = learn("Kit", pack, asked, [utterance("confirm", 0.9), utterance("splash", 0.9), None], [2000.0, 1000.0],
                  {"spill": ("spillage",)})
    assert found.troublesome == ("spill", "repeat") and found.alternatives == {"spill": ("spillage",)}
    save_profile(found, tmp_path)
    assert load_profile("Kit", tmp_path) == found


@pytest.mark.parametrize("name", ["", "../evil", "a/b", ".hidden"])
def test_a_name_that_could_leave_its_folder_is_refused(name, tmp_path):
    with pytest.raises(UsageError):
        load_profile(name, tmp_path)


def test_a_damaged_profile_is_named(tmp_path):
    (tmp_path / "Kit.json").write_text("{")
    with pytest.raises(UsageError, match="can't be read"):
        load_profile("Kit", tmp_path)
    with pytest.raises(UsageError, match="no profile"):
        load_profile("Nobody", tmp_path)


def test_troublesome_words_get_their_alternative_first_and_a_confirming_one_only_the_packs_own():
    pack = load_pack("en").with_words({"confirm": ["affirmative", "i confirm"]})
    found = Profile("Kit", "en", 900.0, Bars(), ("spill", "confirm", "stop", "repeat"), 4,
                    {"spill": ("spillage",), "confirm": ("affirm this", "i confirm"), "stop": ("affirmative",)})
    better = found.better_words(pack)
    assert better["spill"][0] == "spillage" and pack.say["spill"][0] in better["spill"]
    assert better["confirm"][0] == "i confirm" and set(better["confirm"]) == set(pack.say["confirm"])
    assert "stop" not in better and "repeat" not in better   # another command's word is no alternative
    pack.with_words(better)


@pytest.mark.parametrize(("speech", "usual", "says"), [(700.0, 2800.0, "quieter"), (2800.0, 700.0, "louder"), (2200.0, 2000.0, "")])
def test_a_voice_far_from_its_usual_level_is_told(speech, usual, says):
    found = judge_readiness(LevelCheck(speech, 20.0, 30.0, 0.0, False), 3, 3, alarms_heard=True, usual_rms=usual)
    assert found.verdict == GO and (says in " ".join(found.reasons) if says else not found.reasons)


def test_a_headset_that_is_running_out_wants_another_way_in():
    low = ("HS-1: 12 % of its battery left.",)
    assert judge_readiness(GOOD, 3, 3, alarms_heard=True, low=low).verdict == DONT
    assert judge_readiness(GOOD, 3, 3, alarms_heard=True, low=low, other_way_in=True).verdict == GO_WITH_HELP

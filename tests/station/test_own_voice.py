"""What is found out before a live start: the person's own profile, alarms, batteries."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from assistant.errors import RefusedError, UsageError
from assistant.hearing.judging.judge import Bars
from assistant.hearing.people import profile as profiles
from assistant.hearing.people.profile import Profile, save_profile
from assistant.station.live import own_voice
from assistant.station.live.battery import Batteries, batteries
from assistant.station.live.level_check import Around, check_without_microphone
from assistant.station.live.own_voice import as_said_by, bars_of, profile_of
from assistant.station.live.setup import prepare, shipped_folder

BARS = Bars(confirming=0.6, other=0.2)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(profiles, "profile_folder", lambda: tmp_path)
    monkeypatch.setattr(own_voice, "profile_folder", lambda: tmp_path)
    monkeypatch.setattr(own_voice, "trainees_folder", lambda: tmp_path / "trainees")
    return tmp_path


def kit(**more: object) -> Profile:
    given = {"name": "Kit", "language": "en", "speech_rms": 900.0, "bars": BARS, "troublesome": ("spill",), "round_size": 36,
             "alternatives": {"spill": ("spillage",)}, "engine": "pocketsphinx"}
    return Profile(**{**given, **more})


def test_a_persons_own_profile_is_found_by_name_and_nobody_elses(folder: Path):
    save_profile(kit())
    assert profile_of(None, "Kit", "en", print) == kit()
    assert profile_of(None, "Ada", "en", print) is None and profile_of(None, "Kit", "ko", print) is None
    assert profile_of(None, "../Kit", "en", print) is None


def test_a_named_profile_must_be_there_and_of_the_sessions_language(folder: Path):
    save_profile(kit())
    with pytest.raises(UsageError, match="no profile"):
        profile_of("Nobody", "Ada", "en", print)
    with pytest.raises(UsageError, match="is for 'en'"):
        profile_of("Kit", "Ada", "ko", print)


def test_a_damaged_profile_of_ones_own_is_told_and_stops_nothing(folder: Path):
    (folder / "Kit.json").write_text("{")
    told: list[str] = []
    assert profile_of(None, "Kit", "en", told.append) is None and "can't be read" in told[0]


def test_troublesome_words_are_asked_for_in_their_better_form_and_both_are_heard():
    ready = prepare("gb-2-light-clean", folder=shipped_folder(), today="2026-01-05")
    told: list[str] = []
    dressed = as_said_by(ready, kit(), told.append)
    assert dressed.plan.spoken["spill"] == "spillage" and dressed.pack.word_of("liquid spill") == "spill"
    assert told == ['Profile: say "spillage" instead of "liquid spill".']
    assert dressed.plan.today == ready.plan.today and as_said_by(ready, None) is ready


def test_bars_learnt_with_another_engine_arent_used():
    assert bars_of(kit(), "pocketsphinx") == BARS and bars_of(kit(), "vosk") == Bars() and bars_of(None, "vosk") == Bars()


def test_whatever_a_profile_holds_a_word_that_confirms_keeps_its_bar():
    # of live work and of practice at a headset alike: both take their bars from here
    low = kit(bars=Bars(confirming=0.01, other=0.2))
    assert bars_of(low, "pocketsphinx") == Bars(Bars().confirming, 0.2)


def test_words_to_be_said_louder_and_words_never_understood_are_told():
    ready = prepare("gb-2-light-clean", folder=shipped_folder(), today="2026-01-05")
    told: list[str] = []
    as_said_by(ready, kit(troublesome=("dropped_item",), alternatives={}, louder=("repeat",)), told.append)
    assert told == [
        f'Profile: say "{ready.pack.say["repeat"][0]}" louder than you usually do.',
        f'Profile: press the key for "{ready.pack.say["dropped_item"][0]}": not understood in this voice.',
    ]


def test_what_an_older_drill_kept_is_read_and_a_newer_profile_goes_before_it(folder: Path):
    old = {
        "person": "kit", "engine": "pocketsphinx", "forms": {"spill": "spillage", "confirm": "i confirm", "stop": ""}, "trouble": ["stop"],
        "louder": ["spill"], "snr_db": 17.5, "verdict": [], "results": [
            {"word": w, "form": f, "tries": 2, "right": n, "heard": ["", ""], "confidence": 0.1, "louder": False}
            for w, f, n in (("spill", "liquid spill", 0), ("spill", "spillage", 2), ("confirm", "i confirm", 2), ("stop", "stop", 0))],
    }
    (folder / "trainees" / "kit").mkdir(parents=True)
    file = folder / "trainees" / "kit" / "hearing.json"
    file.write_text(json.dumps(old))
    found = profile_of(None, "Kit", "en", print)
    assert found.troublesome == ("spill", "stop") and found.alternatives == {"spill": ("spillage",)} and found.louder == ("spill",)
    assert found.bars == Bars() and found.snr_db == 17.5 and profile_of(None, "Kit", "ko", print) is None
    told: list[str] = []
    file.write_text("[]")
    assert profile_of(None, "Kit", "en", told.append) is None and "can't be read" in told[0]
    save_profile(kit())
    assert profile_of(None, "Kit", "en", print) == kit()


def test_a_profile_of_the_first_version_is_read(folder: Path):
    save_profile(kit())
    data = json.loads((folder / "Kit.json").read_text())
    (folder / "Kit.json").write_text(json.dumps({k: v for k, v in {**data, "version": 1}.items() if k not in ("louder", "snr_db")}))
    assert profile_of("Kit", "Ada", "en", print) == kit()


def test_alarms_that_cant_be_heard_refuse_every_start():
    with pytest.raises(RefusedError, match="alarms"):
        check_without_microphone(Around("no"), lambda text: None)
    assert check_without_microphone(Around("headset"), lambda text: None)["alarms"] == "headset"
    shown: list[str] = []
    assert check_without_microphone(Around(), shown.append)["alarms"] == "not asked"
    assert any("can the room's alarms be heard" in text for text in shown)


def supply(folder: Path, name: str, **files: str) -> None:
    (folder / name).mkdir()
    for key, text in files.items():
        (folder / name / key).write_text(text + "\n")


def test_batteries_are_read_as_linux_tells_them(tmp_path: Path):
    # Documentation/ABI/testing/sysfs-class-power (Linux): energy in microwatt hours, power in microwatts, from memory
    supply(tmp_path, "AC", type="Mains", online="0")
    supply(tmp_path, "BAT0", type="Battery", status="Discharging", energy_now="30000000", power_now="15000000", capacity="60")
    supply(tmp_path, "BAT1", type="Battery", status="Charging", energy_now="1", power_now="15000000")
    supply(tmp_path, "hid-headset", type="Battery", scope="Device", capacity="12", model_name="HS-1")
    supply(tmp_path, "odd", type="Battery", status="Discharging", energy_now="many", power_now="0")
    assert batteries(tmp_path) == Batteries(7200.0, ("HS-1: 12 % of its battery left.",))
    assert batteries(tmp_path / "nowhere") == Batteries()

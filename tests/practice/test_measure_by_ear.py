"""`assistant measure by-ear`: whole cleans of an operator that hears the sound, beside the same ones by text."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from assistant.errors import GauntletError
from assistant.measure import group
from assistant.practice.operator.persona import load_persona
from tests.bench.practice.by_ear import CLASSES
from tests.bench.practice.measure_by_ear import clean, figures


def row(seed, verdict, *, words, errors, repeats, simulated_s):
    return {
        "seed": seed, "words": words, "errors": errors, "lines": 10, "exact": 8, "classes": {"right": 9, "not sure": 1},
        "by_ear": {"verdict": verdict, "repeats": repeats, "simulated_s": simulated_s},
        "text": {"verdict": "complete", "repeats": 0, "simulated_s": 100.0}, "taken_s": 2.0,
    }


def test_figures_are_the_sums_of_the_cleans_and_name_what_did_not_complete():
    # worked by hand: 3 + 9 of 100 + 200 words are 4 %; (120 + 180) / 2 s
    found = figures([
        row(1, "complete", words=100, errors=3, repeats=2, simulated_s=120.0),
        row(2, "stopped", words=200, errors=9, repeats=5, simulated_s=180.0),
    ])
    assert (found["sessions"], found["completed"], found["repeats_asked"], found["session_s"]) == (2, 1, 7, 150.0)
    assert found["word_error"] == 0.04 and found["seconds"] == 4.0 and found["sentences_exact"] == 16
    assert found["taken"] == {**dict.fromkeys(CLASSES, 0), "right": 18, "not sure": 2}
    assert found["not_completed"] == [{"seed": 2, "verdict": "stopped"}]
    assert found["baseline_text"] == {"completed": 2, "repeats_asked": 0, "session_s": 100.0}


def test_a_clean_by_text_is_the_same_each_time_and_another_seed_is_another(short_plan):
    person = load_persona("careful")
    once, again, other = (clean(short_plan, person, seed) for seed in (1, 1, 2))
    assert once.state.verdict == "complete" and once.facts == again.facts != other.facts


@pytest.mark.parametrize("wrong", [["--seeds", "0"], ["--seeds", "many"], ["--seed", "x"], ["--persona", "nobody"]])
def test_bad_input_is_told_before_anything_is_measured(wrong):
    found = CliRunner().invoke(group, ["by-ear", *wrong])
    told = found.output + str(found.exception)
    assert found.exit_code != 0 and "seed " not in found.output and wrong[-1] in told
    assert isinstance(found.exception, SystemExit | GauntletError)


@pytest.mark.full
def test_cleans_by_ear_are_done_to_the_end_and_few_words_are_heard_otherwise():
    found = CliRunner().invoke(group, ["by-ear", "--seeds", "2", "--procedure", "gb-2-end-of-day", "--jobs", "1", "--json"])
    told = json.loads(found.stdout)
    assert told["sessions"] == told["completed"] == told["baseline_text"]["completed"] == 2
    # the same recogniser with a general model gets near 10 % of such words wrong; common practice, no source
    assert told["words"] > 1000 and told["word_error"] < 0.05

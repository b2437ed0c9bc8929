"""The demo, end to end on real audio: the whole main job, its record, its sound.

No published source gives a check value for this; the outside judges are the record's independent folding, a decoder
that had no part in the session, and a second process.
"""

from __future__ import annotations

import io
import json
import subprocess
import sys
from pathlib import Path

import pytest
import soundfile

from assistant.account.reading import load_session
from assistant.account.rederiving import rederive
from assistant.demo.demo import DemoResult, run_demo
from assistant.session.facts import contacts, lines, steps, troubles
from assistant.station.loop.screen import PlainScreen

ROOT = Path(__file__).resolve().parents[2]


def _demo(folder: Path, **changes: object) -> DemoResult:
    given = {"records": folder, "language": "en", "engine": "pocketsphinx", "model": None, "echo_db": None, "snr_db": 20.0, "seed": 1,
                 "open_screen": lambda plan, title: PlainScreen(plan, io.StringIO())}
    return run_demo(**{**given, **changes})


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> DemoResult:
    return _demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def opened(result: DemoResult):
    return load_session(result.record)


pytestmark = [pytest.mark.xdist_group("demo"), pytest.mark.timeout(900)]


def test_the_clean_ends_complete_and_its_record_replays(result: DemoResult) -> None:
    assert result.tally.verdict == "complete", result.tally.left_open
    assert result.replayed, result.problems


def test_there_is_a_refusal_a_deviation_a_rewetting_and_a_correction(result: DemoResult) -> None:
    assert result.tally.refused >= 1
    assert result.tally.deviations >= 1
    assert result.tally.rewets >= 1
    assert result.tally.corrections >= 1


def test_the_record_says_demo_in_every_line(opened) -> None:
    assert {line.record for line in opened.record.lines} == {"demo"}


def test_every_deviation_was_spoken(opened) -> None:
    spoken = {f.text for f in opened.facts if isinstance(f, lines.LineSpoken)}
    for fact in opened.facts:
        if isinstance(fact, troubles.Deviation):
            assert fact.text in spoken


def test_no_contact_completes_before_its_time_wet(opened) -> None:
    started: dict[str, contacts.ContactStarted] = {}
    seen = 0
    for fact in opened.facts:
        if isinstance(fact, contacts.ContactStarted):
            started[fact.surface] = fact
        elif isinstance(fact, contacts.ContactCompleted):
            required = opened.plan.step(started[fact.surface].step).contact_ms
            assert fact.at_ms - started[fact.surface].wet_since_ms >= required
            seen += 1
    assert seen >= 5


def test_no_confirmation_was_taken_from_a_word_begun_while_the_assistant_spoke(opened) -> None:
    spans = [(f.started_ms, f.ended_ms) for f in opened.facts if isinstance(f, lines.LineEnded)]
    heard = [f for f in opened.facts if isinstance(f, lines.Heard) and f.accepted and f.word == "confirm"]
    assert heard
    for fact in heard:
        assert not any(a < fact.ended_ms and fact.started_ms < b for a, b in spans), fact


def test_decisions_follow_again_from_what_came_in(opened) -> None:
    assert rederive(opened) == []


def test_a_second_run_in_another_process_gives_the_same_facts(result: DemoResult, tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-c", "import sys; from assistant.cli import main; sys.exit(main(sys.argv[1:]))", "demo",
         "--json", "--engine", "pocketsphinx", "--records", str(tmp_path)],
        cwd=ROOT, capture_output=True, text=True, timeout=800, check=False,
    )
    assert run.returncode == 0, run.stderr[-2000:]
    found = json.loads(run.stdout)  # exactly one object on standard output
    for key in ("engine", "simulated_s", "taken_s", "steps_done", "heard", "refused", "waits", "deviations",
                "replayed", "facts_sha256", "record", "sound", "skipped"):
        assert key in found
    assert found["facts_sha256"] == result.facts_sha256
    assert found["replayed"] is True


def test_both_sides_are_in_the_sound_and_can_be_decoded_apart(result: DemoResult, opened) -> None:
    """A decoder of its own (PocketSphinx with a bare keyword list, no part of the session's chain) finds the yes in
    the technician's channel where the record says it was heard, and the assistant's channel isn't silent."""
    from pocketsphinx import Decoder

    sound, rate = soundfile.read(result.sound, dtype="int16")
    assert rate == 16_000 and sound.shape[1] == 2
    assert abs(sound[:, 0]).max() > 3000
    heard = [f for f in opened.facts if isinstance(f, lines.Heard) and f.accepted and f.word == "confirm"]
    decoder = Decoder(samprate=16_000, loglevel="FATAL", lm=None)
    decoder.add_jsgf_string("words", "#JSGF V1.0; grammar g; public <w> = affirmative | negative | correction | repeat;")
    decoder.activate_search("words")
    right = 0
    for fact in heard[:12]:
        part = sound[max(0, fact.started_ms - 250) * 16 : (fact.ended_ms + 250) * 16, 1]
        decoder.start_utt()
        decoder.process_raw(part.tobytes(), full_utt=True)
        decoder.end_utt()
        right += bool(decoder.hyp() and decoder.hyp().hypstr == "affirmative")
    assert right >= 9, right


def test_swapping_two_of_the_technicians_words_changes_the_record(tmp_path: Path, result: DemoResult) -> None:
    swapped = _demo(tmp_path, words={"confirm": "negative", "no": "affirmative"}, longest_ms=150_000)
    ours, theirs = load_session(result.record).facts, load_session(swapped.record).facts
    first = next(f for f in ours if isinstance(f, lines.Heard) and f.accepted)
    other = next(f for f in theirs if isinstance(f, lines.Heard) and f.accepted)
    assert {first.word, other.word} == {"confirm", "no"}
    assert swapped.facts_sha256 != result.facts_sha256


def test_none_of_the_assistants_own_lines_is_taken_for_a_command(tmp_path: Path) -> None:
    """The assistant's voice leaks into the microphone at -20 dB; the technician speaks as ever."""
    echoed = _demo(tmp_path, echo_db=-20.0, longest_ms=240_000)
    facts = load_session(echoed.record).facts
    spans = [(f.started_ms, f.ended_ms) for f in facts if isinstance(f, lines.LineEnded)]
    accepted = [f for f in facts if isinstance(f, lines.Heard) and f.accepted]
    assert accepted, "the technician must still be heard"
    for fact in accepted:
        assert not any(a < fact.ended_ms and fact.started_ms < b for a, b in spans), fact
    assert sum(isinstance(f, steps.StepConfirmed) for f in facts) >= 3

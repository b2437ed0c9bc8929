"""The long parts of `selftest --full`: what each costs, so that the longest begin first, and how far the run is.

Seconds are of one core of this project's own machine, measured test by test; they order the work and nothing else.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field

import pytest

LEAST_TIMEOUT_S = 900.0
SLACK = 8.0  # a part may take so many times its cost: a busy machine is no finding

# test (without parameters) -> (seconds for one set of parameters, what it is)
PARTS: dict[str, tuple[float, str]] = {
    "tests/practice/test_soak.py::test_the_core_is_never_at_fault_in_twenty_thousand_sessions":
        (16, "20 000 virtual sessions against the simulated enclosure"),
    "tests/hearing/test_near_phrases.py::test_what_is_listened_for_beside_the_commands_is_nothing_that_is_tuned_or_reported_on":
        (20, "what is listened for beside the commands"),
    "tests/practice/test_sound_journal.py::test_a_chatty_session_with_real_sound_confirms_nothing_that_nobody_said":
        (60, "a session with real sound and chat"),
    "tests/practice/test_measure_by_ear.py::test_cleans_by_ear_are_done_to_the_end_and_few_words_are_heard_otherwise":
        (75, "two cleans of an operator that hears by ear"),
    "tests/station/test_crash.py::test_two_hundred_kills_lose_nothing_and_invent_nothing":
        (230, "200 sessions killed and gone on with"),
    "tests/station/test_crash.py::test_a_write_torn_after_any_line_is_gone_on_from":
        (70, "a session torn after each of its lines"),
    "tests/station/test_demo_korean.py::test_the_assistants_own_voice_in_the_microphone_stops_nothing":
        (60, "the Korean demo with the assistant's voice leaking in"),
    "tests/station/test_demo_korean.py::test_another_process_gives_the_same_facts":
        (60, "the Korean demo in another process"),
    "tests/session/test_naive_agrees.py::test_both_models_agree_on_thousands_of_sessions":
        (25, "5 000 random sessions against the naive model"),
    "tests/prover/test_mutants.py::test_every_fault_is_refuted_or_shown_to_be_none":
        (600, "every seeded fault of the prover"),
    "tests/prover/test_proof.py::test_every_shipped_procedure_is_proven":
        (50, "every shipped procedure proven"),
    "tests/prover/test_spin.py::test_verdicts_and_projected_states_agree":
        (20, "the prover against Spin"),
    "tests/procedure/test_approval.py::test_the_real_prover_gives_the_line_that_is_signed":
        (5, "an approval with its proof"),
    "tests/procedure/test_approval.py::test_the_real_prover_refuses_a_procedure_that_can_open_two_doors":
        (5, "an approval refused by the proof"),
    "tests/procedure/test_forgotten_steps.py::test_each_that_is_dropped_is_named_at_a_line_with_what_to_do":
        (1, "each wait and glove change left out of a file"),
    "tests/procedure/test_forgotten_steps.py::test_the_proof_of_a_small_procedure_without_it_comes_to_an_end":
        (3, "small procedures proven without a wait or glove change"),
    "tests/procedure/test_loader_fuzz.py::test_many_more_cuts":
        (40, "3 000 damaged site files"),
    "tests/record/test_verify.py::test_twenty_thousand_random_tamperings_are_all_found":
        (50, "20 000 tamperings with a record"),
    "tests/record/test_kill.py::test_no_told_fact_is_lost_in_three_hundred_kills":
        (150, "320 writers of records killed"),
    "tests/hearing/test_sound_files.py::test_an_hour_of_silence_is_read_piece_by_piece_and_told":
        (10, "an hour of silence in every kind of file"),
    "tests/contracts/test_listener_port.py::test_speech_without_a_pause_is_refused_and_a_word_after_it_is_heard":
        (120, "ten minutes of speech without a pause on every engine"),
    "tests/hearing/test_fixtures.py::test_commands":
        (6, "recorded commands, all of them"),
    "tests/hearing/test_fixtures.py::test_nothing_is_accepted_where_nothing_was_asked":
        (2, "recorded chat and noise, all of it"),
    "tests/speaking/test_pyttsx3_process.py::test_five_hundred_lines_come_out_alike":
        (7, "500 lines spoken alike"),
    "tests/bootstrap/test_launch.py::test_a_fresh_clone_really_starts_and_then_starts_quickly":
        (90, "a fresh clone's first start"),
}  # fmt: skip


def name_of(nodeid: str) -> str:
    """A test's id without its parameters and without xdist's group."""
    return nodeid.split("[")[0].split("@")[0]


def cost_s(item: pytest.Item) -> float:
    """What a test is expected to take; 0 for one that isn't long."""
    return PARTS.get(name_of(item.nodeid), (0.0, ""))[0]


def longest_first(items: list[pytest.Item]) -> None:
    """Order a full run: the longest parts first, so that none is left alone on one core at the end; the others as
    they came. Gives each long part time enough."""
    for item in items:
        if cost_s(item) and item.get_closest_marker("timeout") is None:
            item.add_marker(pytest.mark.timeout(max(LEAST_TIMEOUT_S, SLACK * cost_s(item))))
    items.sort(key=lambda item: -cost_s(item))  # stable, and the same on every worker


@dataclass(eq=False)   # pytest keeps its plugins in a set
class Progress:
    """Tells on the terminal when a long part begins and ends, and sums them up at the end of the run."""

    terminal: pytest.TerminalReporter
    began_s: float = field(default_factory=time.monotonic)
    parts: dict[str, list[tuple[float, str]]] = field(default_factory=dict)
    done: int = 0

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        if name_of(nodeid) in PARTS:
            self._say(f"begun: {_what(nodeid)}")

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.done += report.when == "teardown"
        name = name_of(report.nodeid)
        if name not in PARTS or (report.when != "call" and report.passed):
            return
        self.parts.setdefault(name, []).append((report.duration, report.outcome))
        self._say(f"{report.outcome} after {clock(report.duration)}: {_what(report.nodeid)}")

    def pytest_terminal_summary(self) -> None:
        self.terminal.section("long parts")
        for row in self.rows():
            self.terminal.write_line(row)

    def rows(self) -> Sequence[str]:
        """One line a part: how often it ran, for how long, and how it ended. The slowest first."""
        rows = []
        for name, runs in sorted(self.parts.items(), key=lambda part: -sum(s for s, _ in part[1])):
            ends = sorted({outcome for _, outcome in runs})
            rows.append(f"{clock(sum(s for s, _ in runs)):>9}  {len(runs):>3} x  {', '.join(ends):<8} {PARTS[name][1]}")
        return rows or ["none"]

    def _say(self, text: str) -> None:
        self.terminal.ensure_newline()
        passed = clock(time.monotonic() - self.began_s)
        self.terminal.write_line(f"  [{passed}, {self.done} tests done] {text}")


def _what(nodeid: str) -> str:
    parameters = nodeid.partition("[")[2].split("]")[0]
    return PARTS[name_of(nodeid)][1] + (f" ({parameters})" if parameters else "")


def clock(seconds: float) -> str:
    """A duration as m:ss."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"

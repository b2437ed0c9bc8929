"""One run of the check names everything that can still be judged, and nothing that only follows from a fault."""

from __future__ import annotations

import json
import re
import shutil

import pytest
from click.testing import CliRunner

from assistant.procedure.commands.check_cli import check, check_all
from assistant.procedure.loading.load import load_procedure, procedure_names
from assistant.procedure.loading.source import default_folder
from tests.procedure.broken_expected import EXPECTED
from tests.procedure.mutations import Drop, Swap
from tests.procedure.test_broken_files import BROKEN

LIGHT = "gb-2/gb-2-light-clean.yaml"
END = "gb-2/gb-2-end-of-day.yaml"
E = "enclosures/gb-2.yaml"
A = "agents/northmere.yaml"
# What the unbroken sample of the corpus doesn't keep: it is no whole procedure.
SAMPLE_BREAKS = {"expiry-not-checked", "lot-not-noted", "in-use-life-unchecked", "local-rules", "option-unused"}
# Broken files with more than one fault of their own.
SEVERAL = {"alias": 2, "bidi-isolate": 2, "bidi-override": 2, "exploding-anchors": 12, "merge-key": 4}


@pytest.fixture
def folder(tmp_path):
    copy = tmp_path / "procedures"
    shutil.copytree(default_folder(), copy)
    return copy


def _place(folder, file: str, text: str, after: str = "") -> tuple[str, int, int]:
    """Where `text` begins in a file, the first time after `after`."""
    whole = (folder / file).read_text(encoding="utf-8")
    at = whole.index(text, whole.index(after))
    return f"procedures/{file}", whole.count("\n", 0, at) + 1, at - (whole.rfind("\n", 0, at) + 1) + 1


def _places(checked) -> set[tuple[str, int, int]]:
    return {(x.file, x.line, x.column) for x in (*checked.unreadable, *checked.findings)}


def test_a_file_with_a_fault_of_each_stage_shows_all_of_them_where_they_stand(folder):
    path = folder / LIGHT
    text = path.read_text(encoding="utf-8")
    wet = re.search(r"  - id: (\w+)\n    do: wet\n", text)
    text = text[: wet.end()] + "    contact: 1 s\n" + text[wet.end() :]  # a rule: shorter than the label
    text = text.replace("mishap_parts:\n", "mishap_parts:\n  - {part: mishaps, leave_outt: [fire]}\n", 1)  # form
    text = text.replace("title:", "title: One\ntitle:", 1)  # YAML
    text = text.replace("steps:\n", "steps:\n  - {id: odd, do: close, opening: outer_dor, say: Close it.}\n", 1)  # a name
    path.write_text(text, encoding="utf-8")
    checked = check_all(("gb-2-light-clean",), folder)
    assert _places(checked) == {
        _place(folder, LIGHT, "1 s", "contact: "), _place(folder, LIGHT, "leave_outt"),
        _place(folder, LIGHT, "title: {", "title: One\n"), _place(folder, LIGHT, "outer_dor"),
    }
    assert {f.rule for f in checked.findings} == {"contact-too-short"} and len(checked.unreadable) == 3


def test_a_fault_in_each_of_several_files_is_named_and_nothing_that_follows_from_it(folder):
    Swap(E, "orientation: ceiling", "orientation: celling").apply(folder)
    Swap(A, "serves: [", "serves: [polishing, ").apply(folder)
    Swap("parts/mishaps.yaml", "do: instruct", "do: instrukt").apply(folder)
    Swap(E, "max_open: 5 min", "max_open: 5 mn").apply(folder)
    checked = check_all(("gb-2-light-clean", "gb-2-rigorous-clean"), folder)
    assert checked.findings == []
    assert _places(checked) == {
        _place(folder, E, "celling"), _place(folder, A, "polishing"), _place(folder, E, "5 mn"),
        _place(folder, "parts/mishaps.yaml", "instrukt"),
    }


def test_an_enclosure_that_cannot_be_read_hides_no_fault_of_the_steps_and_starts_no_guess(folder):
    (folder / E).write_text("kind: [", encoding="utf-8")
    Swap(LIGHT, "do: wet", "do: wett").apply(folder)
    Swap(LIGHT, "{part: mishaps}", "{part: mishapz}").apply(folder)
    checked = check_all(("gb-2-light-clean",), folder)
    assert {p.file.rsplit("/", 1)[-1] for p in checked.unreadable} == {"gb-2.yaml", "gb-2-light-clean.yaml"}
    assert len(checked.unreadable) == 3 and checked.findings == []


@pytest.mark.parametrize("fault", ["not YAML", "not there"])
def test_rules_about_words_people_and_mishaps_are_asked_without_the_enclosure(folder, fault):
    if fault == "not there":
        (folder / E).unlink()
    else:
        (folder / E).write_text("kind: [", encoding="utf-8")
    whole = check_all(("gb-2-light-clean", "gb-2-rigorous-clean"), folder)
    assert whole.findings == []  # nothing is guessed
    assert "surface-left-out" in whole.not_judged["gb-2-light-clean"]
    Swap("parts/mishaps.yaml", "spoils: [{what: current}]", "spoils: []").apply(folder)
    Swap(LIGHT, "Local rules and the maker's instructions come first.", "Work calmly.").apply(folder)
    checked = check_all(("gb-2-light-clean",), folder)
    assert {f.rule for f in checked.findings} == {"mishap-spoils-nothing", "local-rules"}
    assert len(checked.unreadable) == len([p for p in whole.unreadable if "rigorous" not in p.file])


def test_site_words_are_not_judged_where_one_of_them_has_a_fault(folder):
    """`repeat=stop` would be refused; beside an entry of the wrong kind nobody knows which is which."""
    Swap(E, "site_words: []", "site_words: [repeat=stop]").apply(folder)
    assert "site-words" in {f.rule for f in check_all(("gb-2-light-clean",), folder).findings}
    Swap(E, "site_words: [repeat=stop]", "site_words: [{a: b}, repeat=stop]").apply(folder)
    checked = check_all(("gb-2-light-clean",), folder)
    assert checked.findings == [] and "site-words" in checked.not_judged["gb-2-light-clean"]
    assert _places(checked) == {_place(folder, E, "{a: b}")}


def test_a_name_written_wrongly_in_an_include_is_named_there_and_once(folder):
    Swap(LIGHT, "which_agent: decontaminant", "which_agent: decontaminent").apply(folder)
    checked = check_all(("gb-2-light-clean",), folder)
    assert _places(checked) == {_place(folder, LIGHT, "decontaminent")} and len(checked.unreadable) == 1


def test_rules_that_need_what_has_a_fault_are_named_as_not_judged(folder):
    Swap(END, "do: wet", "do: wett").apply(folder)
    args = ["gb-2-end-of-day", "--folder", str(folder), "--json"]
    result = CliRunner().invoke(check, args, standalone_mode=False, catch_exceptions=False)
    found = json.loads(result.stdout)
    assert result.return_value == 2 and found["findings"] == []
    named = found["not_judged"]["gb-2-end-of-day"]
    assert "waste-not-out" in named and "contact-too-short" not in named


def test_a_rule_that_needs_nothing_of_a_faulty_step_is_still_asked(folder):
    """A wet step with an unknown agent opens no door: that the outer door is left open is found all the same."""
    Swap(END, "agent: decontaminant", "agent: decontaminent").apply(folder)
    closed = re.search(r"- (?:\{id: |id: )(\w+)(?:, |\n    )do: close", (folder / END).read_text(encoding="utf-8"))
    if closed:
        Drop(END, closed[1]).apply(folder)
    else:
        Swap("parts/waste-from-airlock.yaml", "do: close", "do: open").apply(folder)
    checked = check_all(("gb-2-end-of-day",), folder)
    assert "left-open" in {f.rule for f in checked.findings} and len(checked.unreadable) == 1


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_a_broken_file_shows_its_own_faults_and_no_more(name):
    checked = check_all((str(BROKEN / f"{name}.yaml"),), default_folder())
    assert len(checked.unreadable) == SEVERAL.get(name, 1), [p.message for p in checked.unreadable]
    assert {f.rule for f in checked.findings} <= SAMPLE_BREAKS


_KEY = re.compile(
    r"(?<![a-z_])(do|agent|surface|opening|cycle|machine|gauge|marking|zone|hands|part|role|contact|on_no|material|"
    r"orientation|area|reach|purpose|duration|word|then|say|value|strength|hazardous|under): (?=[^\s])"
)
_STRIDE = 61


def _single_faults(folder):
    """(file, line, the file's text with one fault, a procedure that uses it), evenly over all site files."""
    uses: dict[str, list[str]] = {}
    for name in procedure_names(folder):
        for file, _ in load_procedure(name, folder).files():
            uses.setdefault(file.split("/", 1)[1], []).append(name)
    count = 0
    for file in sorted(uses):
        text = (folder / file).read_text(encoding="utf-8")
        for m in _KEY.finditer(text):
            count += 1
            if count % _STRIDE:
                continue
            procedure = uses[file][count % len(uses[file])]
            line = text.count("\n", 0, m.start()) + 1
            yield file, line, text[: m.start()] + m[1] + "qq: " + text[m.end() :], procedure
            value = re.match(r"[a-z][a-z_-]*", text[m.end() :])
            if value and m[1] not in ("say", "word"):  # any text is a sentence; a mishap's word is held by rules
                at = m.end() + value.end()
                yield file, line, text[:at] + "qq" + text[at:], procedure


def test_one_fault_anywhere_is_one_complaint_and_no_finding(folder):
    tried = 0
    for file, line, broken, procedure in _single_faults(folder):
        whole = (folder / file).read_text(encoding="utf-8")
        (folder / file).write_text(broken, encoding="utf-8")
        checked = check_all((procedure,), folder)
        (folder / file).write_text(whole, encoding="utf-8")
        told = [(p.file, p.line, p.message) for p in checked.unreadable]
        assert len(told) == 1, (file, line, procedure, told)
        assert told[0][0].endswith(file) and told[0][1] in (line - 1, line), (file, line, told)
        assert checked.findings == [], (file, line, procedure, checked.findings[:3])
        tried += 1
    assert tried > 30

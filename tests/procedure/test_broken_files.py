"""Broken files get a located message in plain words, quickly, and never a traceback."""

from __future__ import annotations

import shutil
import time
from pathlib import Path

import pytest

from assistant.procedure.loading.load import load_procedure
from assistant.procedure.loading.problems import SiteFileProblems
from assistant.procedure.loading.source import default_folder
from tests.procedure.broken_expected import EXPECTED

BROKEN = Path(__file__).parent / "broken"


def test_the_corpus_is_complete():
    assert {p.stem for p in BROKEN.glob("*.yaml")} == set(EXPECTED) and len(EXPECTED) >= 60


@pytest.fixture(scope="module", autouse=True)
def _units_loaded():
    load_procedure("gb-2-start-of-day")  # the unit library loads once; it isn't part of a file's time


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_a_broken_file_gets_a_located_message(name):
    line, piece = EXPECTED[name]
    begun = time.process_time()
    with pytest.raises(SiteFileProblems) as caught:
        load_procedure(BROKEN / f"{name}.yaml", default_folder())
    assert time.process_time() - begun < 5  # said to be under 1 s; the bound only catches explosions
    hits = [p for p in caught.value.problems if piece in p.message]
    assert hits, caught.value.format_message()
    assert all(p.message and p.file.endswith(f"{name}.yaml") for p in hits)
    lines = (BROKEN / f"{name}.yaml").read_bytes().count(b"\n") + 1
    assert all(1 <= p.line <= lines and p.column >= 1 for p in hits)
    if line is not None:
        assert line in [p.line for p in hits], caught.value.format_message()
    shown = caught.value.format_message()
    assert "Traceback" not in shown and "pydantic" not in shown and "ruamel" not in shown


def test_all_errors_of_a_file_come_in_one_go(tmp_path):
    text = (BROKEN / "unknown-agent.yaml").read_text(encoding="utf-8").replace("unknown-agent", "many")
    text = text.replace("surface: back_wall", "surface: bak_wall").replace(
        "{part: mishaps}", "{part: mishap}"
    )
    path = tmp_path / "many.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SiteFileProblems) as caught:
        load_procedure(path, default_folder())
    said = caught.value.format_message()
    assert len(caught.value.problems) == 3
    assert "Did you mean disinfectant" in said and "back_wall" in said and "mishaps" in said


def test_a_letter_that_only_looks_like_another_is_named_by_its_code():
    with pytest.raises(SiteFileProblems) as caught:
        load_procedure(BROKEN / "homoglyph-name.yaml", default_folder())
    assert "U+0430 (cyrillic small letter a)" in caught.value.format_message()


def test_fifty_megabytes_of_nesting_are_refused_by_size(tmp_path):
    path = tmp_path / "huge.yaml"
    path.write_bytes(b"[" * 50_000_000)
    with pytest.raises(SiteFileProblems, match="bytes"):
        load_procedure(path, default_folder())


def test_parts_that_include_each_other_are_named_with_their_chain(tmp_path):
    folder = tmp_path / "procedures"
    shutil.copytree(default_folder(), folder)
    for one, two in (("ring-a", "ring-b"), ("ring-b", "ring-a")):
        (folder / "parts" / f"{one}.yaml").write_text(
            f"format: 2\nkind: part\nid: {one}\nrevision: '1'\nsteps:\n  - {{id: x, do: include, part: {two}}}\n"
        )
    path = folder / "gb-2" / "gb-2-start-of-day.yaml"
    path.write_text(
        path.read_text().replace("steps:\n", "steps:\n  - {id: ring, do: include, part: ring-a}\n")
    )
    with pytest.raises(SiteFileProblems, match="ring-a -> ring-b -> ring-a") as caught:
        load_procedure("gb-2-start-of-day", folder)
    assert caught.value.problems[0].file == "procedures/parts/ring-b.yaml"


def test_a_link_that_leads_out_of_the_folder_is_not_followed(tmp_path):
    folder = tmp_path / "procedures"
    shutil.copytree(default_folder(), folder)
    outside = tmp_path / "secret.yaml"
    outside.write_text((folder / "parts" / "mishaps.yaml").read_text().replace("id: mishaps", "id: secret"))
    (folder / "parts" / "secret.yaml").symlink_to(outside)
    path = folder / "gb-2" / "gb-2-start-of-day.yaml"
    path.write_text(path.read_text().replace("{part: mishaps}", "{part: secret}"))
    with pytest.raises(SiteFileProblems, match="no part file called secret"):
        load_procedure("gb-2-start-of-day", folder)


def test_an_error_inside_a_part_names_the_part(tmp_path):
    folder = tmp_path / "procedures"
    shutil.copytree(default_folder(), folder)
    path = folder / "parts" / "load-wiped-airlock.yaml"
    path.write_text(path.read_text().replace("opening: inner_door", "opening: inner_dor", 1))
    with pytest.raises(SiteFileProblems) as caught:
        load_procedure("gb-2-light-clean", folder)
    problem = caught.value.problems[0]
    assert problem.file == "procedures/parts/load-wiped-airlock.yaml" and problem.line > 10
    assert "inner_door" in problem.try_next


@pytest.mark.parametrize(
    ("asked", "meant"),
    [("gb-2-light-claen", "gb-2-light-clean"), ("pi-1-rigorus-clean", "pi-1-rigorous-clean")],
)
def test_a_name_nearly_right_is_answered_with_the_right_one(asked, meant):
    with pytest.raises(SiteFileProblems) as caught:
        load_procedure(asked)
    assert meant in caught.value.try_next


def test_a_missing_file_is_said_plainly(tmp_path):
    with pytest.raises(SiteFileProblems, match="no such file"):
        load_procedure(tmp_path / "nothing.yaml")

"""The printed sheet, read back with pypdf: every step, hash and revision on each page, the same bytes twice."""

from __future__ import annotations

import io
import re

import pypdf
import pytest
from click.testing import CliRunner

from assistant.errors import StorageError
from assistant.procedure.commands.sheet_cli import sheet
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure, procedure_names
from assistant.procedure.paper.sheet import sheet_pdf


def _pages(pdf: bytes) -> list[str]:
    return [p.extract_text() for p in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def _flat(text: str) -> str:
    return re.sub(r"\s+", "", text)


# ISO 216 and ANSI/ASME Y14.1, in points (1/72 in.).
@pytest.mark.parametrize(("size", "width", "height"), [("a4", 595.28, 841.89), ("letter", 612, 792)])
def test_the_page_has_the_size_asked_for(size, width, height):
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(load_procedure("gb-2-start-of-day"), size)))
    for page in reader.pages:
        assert float(page.mediabox.width) == pytest.approx(width, abs=0.01)
        assert float(page.mediabox.height) == pytest.approx(height, abs=0.01)


@pytest.mark.parametrize("name", procedure_names())
def test_every_step_is_on_it_and_every_page_names_hash_revision_and_number(name):
    loaded = load_procedure(name)
    plan = compile_plan(loaded)
    pages = _pages(sheet_pdf(loaded))
    for number, text in enumerate(pages, 1):
        assert plan.sha256 in text and f"revision {plan.revision}" in text
        assert f"Page {number} of {len(pages)}" in text
    flat = _flat("".join(pages))
    for step in (*plan.steps, *(s for m in plan.mishaps.values() for s in m.steps)):
        assert _flat(step.say.split(". ")[-1]) in flat, step.id
        assert not step.caution or _flat(step.caution.split(". ")[0]) in flat


def test_the_same_content_gives_the_same_bytes():
    assert sheet_pdf(load_procedure("pi-1-under-work-surface")) == sheet_pdf(
        load_procedure("pi-1-under-work-surface")
    )


def test_it_is_black_and_white():
    text = "".join(
        p.get_contents().get_data().decode("latin-1")
        for p in pypdf.PdfReader(io.BytesIO(sheet_pdf(load_procedure("gb-2-light-clean")))).pages
    )
    for r, g, b in re.findall(r"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)\b", text):
        assert r == g == b in ("0", "1")


def test_known_answers_leave_out_what_does_not_apply():
    loaded = load_procedure("gb-2-light-clean")
    without = "".join(_pages(sheet_pdf(loaded, answers={"drugs_differ": False, "final_alcohol": False})))
    assert _flat("with decontaminant") not in _flat(without.split("If something goes wrong")[0])


def test_the_command_writes_the_file_and_says_so(tmp_path):
    out = tmp_path / "wall.pdf"
    result = CliRunner().invoke(
        sheet, ["gb-2-start-of-day", "--out", str(out)], standalone_mode=False, catch_exceptions=False
    )
    assert result.return_value == 0 and out.read_bytes().startswith(b"%PDF-")


def test_a_place_that_cannot_be_written_is_said_plainly(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(StorageError):
        CliRunner().invoke(
            sheet,
            ["gb-2-start-of-day", "--out", str(tmp_path / "file" / "x.pdf")],
            standalone_mode=False,
            catch_exceptions=False,
        )

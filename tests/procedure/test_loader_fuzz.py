"""The loader on hostile and random text: a model or located problems, nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.procedure.loading.load import load_procedure
from assistant.procedure.loading.problems import SiteFileProblems
from assistant.procedure.loading.source import default_folder
from assistant.procedure.loading.yaml_tree import parse_tree

SHIPPED = [p.read_text(encoding="utf-8") for p in sorted(default_folder().rglob("gb-2-s*.yaml"))]
SMALL = (Path(__file__).parent / "broken" / "unknown-agent.yaml").read_text(encoding="utf-8")
ROOM = settings(
    max_examples=120,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def _load(tmp_path: Path, text: str) -> None:
    path = tmp_path / "fuzz.yaml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        load_procedure(path, default_folder())
    except SiteFileProblems as error:
        for p in error.problems:
            assert p.message and p.file
            assert p.line >= 0 and (p.line == 0 or p.column >= 1)
        assert error.format_message()


@ROOM
@given(text=st.text(max_size=400))
def test_any_text_gives_problems_with_places(tmp_path, text):
    _load(tmp_path, text)


@ROOM
@given(data=st.data())
def test_a_shipped_file_with_a_piece_cut_or_put_in(tmp_path, data):
    text = data.draw(st.sampled_from(SHIPPED))
    at = data.draw(st.integers(0, len(text) - 1))
    cut = data.draw(st.integers(0, 40))
    put = data.draw(
        st.one_of(
            st.sampled_from(
                [
                    "{",
                    "}",
                    "[",
                    "]",
                    ":",
                    "- ",
                    "&a ",
                    "*a",
                    "!!int ",
                    "\t",
                    "|\n",
                    ">\n",
                    "---\n",
                    "'",
                    '"',
                    "#",
                    "{surface}",
                    "{nothing}",
                    "null",
                    "1e9",
                    "-5 s",
                    "yes",
                    "\u202e",
                    "do: wet\n",
                    "? ",
                ]
            ),
            st.text(max_size=12),
        )
    )
    _load(tmp_path, text[:at] + put + text[at + cut :])


_scalars = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(allow_nan=True),
    st.text(max_size=12),
    st.sampled_from(["wet", "wait", "back_wall", "5 min", "{item}", "all_contacts", "gb-2"]),
)
_values = st.recursive(
    _scalars,
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(
                [
                    "do",
                    "id",
                    "say",
                    "en",
                    "ko",
                    "steps",
                    "each",
                    "when",
                    "requires",
                    "opening",
                    "is",
                    "agent",
                    "surface",
                    "zone",
                    "part",
                    "with",
                    "within",
                    "after",
                    "time",
                    "for",
                    "on_no",
                ]
            ),
            inner,
            max_size=5,
        )
    ),
    max_leaves=12,
)


@ROOM
@given(
    value=_values,
    key=st.sampled_from(["steps", "options", "mishaps", "mishap_parts", "cautions", "title", "enclosure"]),
)
def test_any_shape_of_values_in_any_place(tmp_path, value, key):
    import json

    # JSON is YAML: the text is well formed, so the model is what has to cope.
    lines = list(SMALL.replace("unknown-agent", "fuzz").splitlines())
    head = "\n".join(lines[:8])
    _load(
        tmp_path,
        f"{head}\n{key}: {json.dumps(value)}\n"
        if key not in ("title", "enclosure")
        else head.replace("gb-2", json.dumps(value)) + "\nsteps: []\n",
    )


@settings(max_examples=200, deadline=None)
@given(
    st.recursive(
        st.text(st.characters(categories=("L", "N", "P", "Zs"), max_codepoint=0xFFFF), max_size=8)
        | st.integers(-(10**9), 10**9)
        | st.booleans()
        | st.none(),
        lambda inner: (
            st.lists(inner, max_size=4)
            | st.dictionaries(
                st.text(st.characters(codec="ascii", categories=("L",)), min_size=1, max_size=6),
                inner,
                max_size=4,
            )
        ),
        max_leaves=15,
    )
)
def test_what_is_written_as_json_is_read_back_the_same(value):
    import json

    assert parse_tree(json.dumps({"k": value}, ensure_ascii=True), "x").data == {"k": value}


@pytest.mark.full
@settings(max_examples=3000, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_many_more_cuts(tmp_path, data):
    text = data.draw(st.sampled_from(SHIPPED))
    at = data.draw(st.integers(0, len(text) - 1))
    _load(tmp_path, text[:at] + data.draw(st.text(max_size=20)) + text[at + data.draw(st.integers(0, 200)) :])

"""The exported JSON Schema is current and agrees with the loader, as an editor would use it (jsonschema)."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from assistant.procedure.loading.json_schema import FOLDER, schema, schema_text
from assistant.procedure.loading.source import default_folder
from assistant.procedure.loading.yaml_tree import read_tree
from assistant.procedure.model.kinds import FILE_KINDS

FILES = sorted(default_folder().rglob("*.yaml"))
BROKEN = Path(__file__).parent / "broken"


@pytest.mark.parametrize("kind", sorted(FILE_KINDS))
def test_the_checked_in_schema_is_current(kind):
    assert (FOLDER / f"{kind}.schema.json").read_text(encoding="utf-8") == schema_text(kind), (
        "run `assistant schema --out assistant/procedure/schema`"
    )
    jsonschema.Draft202012Validator.check_schema(schema(kind))


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_every_shipped_file_validates_against_it(path):
    data = read_tree(path).data
    jsonschema.Draft202012Validator(schema(data["kind"])).validate(data)


@pytest.mark.parametrize(
    "name",
    [
        "unknown-key",
        "unknown-step-key",
        "unknown-step-kind",
        "say-missing",
        "check-without-no",
        "unknown-purpose",
        "say-a-number",
        "id-with-space",
        "unit-missing",
        "steps-missing",
        "option-answer",
        "path-escape",
    ],
)
def test_an_editor_would_underline_what_the_loader_refuses(name):
    data = read_tree(BROKEN / f"{name}.yaml").data
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(json.loads(schema_text("procedure"))).validate(data)

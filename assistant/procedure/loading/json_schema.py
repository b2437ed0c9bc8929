"""The JSON Schema of each kind of site file, for editors that complete and underline."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from assistant.procedure.model.kinds import FILE_KINDS

FOLDER = Path(__file__).parent.parent / "schema"


def schema(kind: str) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a kind of site file. Raises KeyError for an unknown kind."""
    made = FILE_KINDS[kind].model_json_schema(by_alias=True, mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made}


def schema_text(kind: str) -> str:
    """The schema as it is checked in: sorted keys, two spaces, a newline at the end."""
    return json.dumps(schema(kind), indent=2, sort_keys=True, ensure_ascii=False) + "\n"


def write_schemas(folder: Path = FOLDER) -> list[Path]:
    """Writes the schema of every kind into `folder`; the paths written."""
    folder.mkdir(parents=True, exist_ok=True)
    out = []
    for kind in FILE_KINDS:
        path = folder / f"{kind}.schema.json"
        path.write_text(schema_text(kind), encoding="utf-8")
        out.append(path)
    return out

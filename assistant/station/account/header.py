"""The first line of a record: who, where, what, with what."""

from __future__ import annotations

import platform
from typing import Any

from assistant import __version__
from assistant.procedure.model.plan import Plan
from assistant.session.rules import RULES_VERSION


def header(
    plan: Plan, *, technician: str, engine: dict[str, Any], voice: dict[str, Any], sink: dict[str, Any],
    source: dict[str, Any], clock: str, vocabulary: dict[str, list[str]], approval: str = "",
    level: dict[str, Any] | None = None, extra: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """Data of `record_opened`; JSON values only. `approval`: who approved this revision, or "" for none."""
    return {
        "technician": technician,
        "site": plan.site,
        "enclosure": {"id": plan.enclosure, "name": plan.enclosure_name},
        "procedure": {
            "id": plan.procedure, "title": plan.title, "revision": plan.revision, "sha256": plan.sha256,
            "purpose": plan.purpose, "approval": approval,
        },
        "files": [{"file": name, "sha256": digest} for name, digest in plan.files],
        "language": plan.language,
        "software": {"name": "gauntlet", "version": __version__, "rules": RULES_VERSION},
        "platform": f"{platform.system()} {platform.machine()}, Python {platform.python_version()}",
        "engine": _plain(engine),
        "voice": _plain(voice),
        "sink": _plain(sink),
        "source": _plain(source),
        "vocabulary": {word: list(forms) for word, forms in sorted(vocabulary.items())},
        "clock": clock,
        "level": _plain(level or {}),
        **(extra or {}),
    }


def _plain(value: Any) -> Any:
    """Only what canonical JSON can hold; anything else as its text."""
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, bool | int | str) or value is None:
        return value
    if isinstance(value, float):
        return round(value, 6)
    return str(value)

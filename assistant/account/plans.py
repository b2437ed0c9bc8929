"""The plan as it was on the day, from the site's files beside a record and what its first line told."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from dataclasses import replace
from pathlib import Path
from typing import Any

from assistant.errors import RecordError
from assistant.language import vocabulary as words
from assistant.language.sentences import LANGUAGES
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import Loaded, load_procedure
from assistant.procedure.model.base import in_language
from assistant.procedure.model.plan import Plan
from assistant.record.reader import Record

SITE_FOLDER = "site"  # beside the record: the site's files as they were
_MOST_SITE_FILES = 500
_NOT_OURS = "The record's first line isn't one this program writes."


class PlanCache:
    """Plans by the content of the site files beside a record: ten thousand sessions share a few."""

    def __init__(self, most: int = 64) -> None:
        self._most = most
        self._plans: OrderedDict[str, tuple[Plan, str]] = OrderedDict()
        self._lock = threading.Lock()

    def plan_and_name(self, record: Record) -> tuple[Plan, str]:
        """The plan, and the enclosure's name as written in its file. Raises RecordError, SiteFileError."""
        told = record.header
        language = told.get("language", "en")
        if not isinstance(language, str) or language not in LANGUAGES:
            raise RecordError(_NOT_OURS, where=str(record.folder))
        key = f"{_content(_site_of(record))}:{_told(record, 'procedure', 'id')}:{language}"
        with self._lock:
            kept = self._plans.get(key)
            if kept is not None:
                self._plans.move_to_end(key)
        if kept is None:
            loaded = loaded_of(record)
            kept = compile_plan(loaded, language), in_language(loaded.enclosure.name, language)
            with self._lock:
                self._plans[key] = kept
                while len(self._plans) > self._most:
                    self._plans.popitem(last=False)
        plan, written = kept
        digest = _told(record, "procedure", "sha256")
        if plan.sha256 != digest:
            raise RecordError(
                "The site's files beside the record aren't the ones the session was run with.",
                where=str(record.folder), expected=f"procedure content {digest[:16]}...",
            )
        return _of_the_day(plan, told, record), written


def plan_of(record: Record) -> Plan:
    """As `PlanCache`, of one record. Raises RecordError when the files changed, SiteFileError."""
    return PlanCache().plan_and_name(record)[0]


def loaded_of(record: Record) -> Loaded:
    """The site's files as they were on the day. Raises RecordError where they aren't beside the record or the
    record's first line doesn't name them, SiteFileError where they can't be read."""
    name = _told(record, "procedure", "id")
    if any(mark in name for mark in ("/", "\\", "..")) or name.endswith((".yaml", ".yml")):
        raise RecordError("The record names its procedure in an odd way.", where=str(record.folder))
    return load_procedure(name, _site_of(record))


def told_first(plan: Plan, texts: list[str]) -> Plan:
    """The plan with sentences to be said before its own cautions: what is overdue here."""
    return replace(plan, cautions=(*texts, *plan.cautions)) if texts else plan


def dressed(plan: Plan, vocabulary: dict[str, list[str]], today: str) -> Plan:
    """The plan with what only the day knows: how commands are said, and the date."""
    spoken = {
        word: str(forms[0]) for word, forms in vocabulary.items() if isinstance(forms, list) and forms and word in words.ALL
    }
    return replace(plan, spoken=spoken, today=today)


def _of_the_day(plan: Plan, told: dict[str, Any], record: Record) -> Plan:
    vocabulary, today, first = told.get("vocabulary", {}), told.get("today", ""), told.get("told_first", [])
    texts = isinstance(first, list) and all(isinstance(text, str) for text in first)
    if not isinstance(today, str) or not isinstance(vocabulary, dict) or not texts:
        raise RecordError(_NOT_OURS, where=str(record.folder))
    return told_first(dressed(plan, vocabulary, today), first)


def _site_of(record: Record) -> Path:
    folder = record.folder
    if folder is None or not (folder / SITE_FOLDER).is_dir():
        raise RecordError(
            "The site's files aren't beside the record.", where=str(folder or ""),
            expected=f"a folder {SITE_FOLDER}/ with the procedure as it was",
            try_next="put the session's whole folder back together; assistant verify still works without it",
        )
    return folder / SITE_FOLDER


def _content(site: Path) -> str:
    """One digest over names and bytes of the site files beside a record."""
    digest = hashlib.sha256()
    for count, path in enumerate(sorted(site.rglob("*.yaml"))):
        if count >= _MOST_SITE_FILES:
            break
        if path.is_symlink() or not path.is_file():
            continue
        digest.update(path.relative_to(site).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()


def _told(record: Record, part: str, name: str) -> str:
    """A text of the record's first line; a hostile one may hold anything."""
    found = record.header.get(part)
    value = found.get(name) if isinstance(found, dict) else None
    if not isinstance(value, str):
        raise RecordError(f"The record's first line names no {part} {name}.", where=str(record.folder or ""))
    return value

"""`assistant check`: the static rules, as text, JSON or SARIF. Exit codes: 0 clean, 1 findings, 2 unreadable."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assistant.procedure.loading.problems import Problem, SiteFileProblems

if TYPE_CHECKING:
    from assistant.procedure.compiling.languages import Coverage
    from assistant.procedure.loading.load import Loaded
    from assistant.procedure.rules.base import Finding


@click.command(name="check")
@click.argument("paths", nargs=-1)
@click.option(
    "--procedures",
    "--folder",
    "folder",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Folder of the site's files, if it isn't `procedures`.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.option("--sarif", "as_sarif", is_flag=True, help="SARIF 2.1.0 on standard output.")
@click.option("--list-rules", is_flag=True, help="Say which rules there are, and what each rests on.")
def check(
    paths: tuple[str, ...], folder: Path | None, as_json: bool, as_sarif: bool, list_rules: bool
) -> int:
    """Check procedures against the static rules.

    PATHS are procedure names or files, or a folder; none means every procedure.
    """
    from assistant.procedure.rules.every import RULES

    if list_rules:
        if as_json:
            click.echo(json.dumps({"rules": [r.as_dict() for r in RULES.values()]}, indent=2))
        else:
            for r in RULES.values():
                click.echo(f"{r.id} ({r.severity}): {r.sentence}\n    Source: {r.source}.")
        return 0
    found = check_all(paths, folder)
    findings, unreadable, languages = found.findings, found.unreadable, found.languages
    if unreadable:      # first, since all else hangs on them
        click.echo(SiteFileProblems(unreadable).format_message(), err=True)
    if as_sarif:
        from assistant.procedure.commands.sarif import to_sarif

        click.echo(json.dumps(to_sarif(findings, unreadable, found.not_judged), indent=2))
    elif as_json:
        click.echo(
            json.dumps(
                {
                    "findings": [f.as_dict() for f in findings],
                    "unreadable": [
                        {
                            "file": p.file,
                            "line": p.line,
                            "column": p.column,
                            "message": p.message,
                            "expected": p.expected,
                            "try": p.try_next,
                        }
                        for p in unreadable
                    ],
                    "languages": [c.as_dict() for c in languages],
                    "not_judged": found.not_judged,
                },
                indent=2,
                ensure_ascii=False,
            )
        )
    else:
        _to_read(found, len(RULES))
    return 2 if unreadable else 1 if findings else 0


def _to_read(found: Checked, rule_count: int) -> None:
    """Findings, then notes, which are short."""
    for f in found.findings:
        click.echo(f"{f.file}:{f.line}:{f.column}: {f.severity}: {f.message} [{f.rule}]\n  Try: {f.suggestion}")
    if not found.findings and not found.unreadable:
        click.echo(f"Clean: {rule_count} rules, nothing found.")
    for name, rules in found.not_judged.items():
        what = "needs" if len(rules) == 1 else "need"
        click.echo(f"Note: {name}: {len(rules)} of {rule_count} rules {what} what has a fault, so they weren't asked. "
                   "Mend that and check again. --json names them.")
    for c in found.languages:
        click.echo(f"Note: {c.sentence()}")


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check found. `unreadable`: faults of form and of names; `not_judged`: procedure -> rules that would have
    needed what has such a fault."""

    findings: list[Any]
    unreadable: list[Problem]
    languages: list[Any]
    not_judged: dict[str, list[str]]


def check_all(paths: tuple[str, ...], folder: Path | None) -> Checked:
    """Everything that can be judged of the named procedures, or of all."""
    from assistant.procedure.compiling.languages import coverage
    from assistant.procedure.loading.load import load_what_can_be, procedure_names
    from assistant.procedure.rules.check import check_procedure, not_judged

    findings: set[Finding] = set()
    unreadable: list[Problem] = []
    languages: list[Coverage] = []
    open_rules: dict[str, list[str]] = {}
    names: list[tuple[str, Path | None]] = []
    for path in paths:
        if os.path.isdir(path):  # unlike pathlib, no name is too long for it
            names += [(name, Path(path)) for name in procedure_names(Path(path))]
        else:
            names.append((path, folder))
    if not paths:
        names = [(name, folder) for name in procedure_names(folder)]
    if not names:
        unreadable.append(
            Problem(
                str(folder or paths or "procedures"),
                0,
                0,
                "There is no procedure here.",
                "a folder with procedure files",
                "Name a file or use --procedures.",
            )
        )
    for name, where in names:
        try:
            part = load_what_can_be(name, where)
            unreadable.extend(part.site.problems)
            if part.loaded is not None:
                findings.update(check_procedure(part.loaded))
                findings.update(_site_words(part.loaded))
            if part.loaded is not None and not part.site.problems:
                languages += coverage(part.loaded)
            elif part.loaded is not None and (rules := not_judged(part.loaded)):
                open_rules[part.loaded.procedure.id] = rules
        except SiteFileProblems as error:
            unreadable.extend(error.problems)
    # A shared part is read once for each procedure: its faults are named once.
    return Checked(sorted(findings), sorted(set(unreadable)), languages, open_rules)


def _site_words(loaded: Loaded) -> list[Finding]:
    """What speaks against the site's own spoken words. The rules' room knows no sounds: this asks hearing."""
    from assistant.procedure.rules.base import ERROR, Finding
    from assistant.procedure.rules.needs import can_be_judged

    entries = loaded.enclosure.site_words
    # Where an entry was left out because of a fault, the others' places and meanings aren't sure.
    if not entries or not can_be_judged("site-words", loaded.site.gaps):
        return []   # without any, the pronouncing dictionary needn't be read
    from assistant.hearing.vocabulary.packs import load_pack
    from assistant.hearing.vocabulary.site_words import objections, parsed

    found = []
    for o in objections(load_pack("en"), entries):
        if parsed(entries[o.index]):  # what isn't COMMAND=WORDS the rules have named
            file, line, column = loaded.place(loaded.enclosure, f"site_words.{o.index}")
            found.append(Finding(file, line, column, "site-words", ERROR, o.message, o.try_next))
    return found

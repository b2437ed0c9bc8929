"""`assistant check`: the static rules, as text, JSON or SARIF. Exit codes: 0 clean, 1 findings, 2 unreadable."""

from __future__ import annotations

import json
from pathlib import Path

import click

from assistant.procedure.problems import Problem, SiteFileProblems


@click.command(name="check")
@click.argument("paths", nargs=-1)
@click.option(
    "--folder",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="The folder of site files, if it isn't `procedures`.",
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
    findings, unreadable, languages = check_all(paths, folder)
    if as_sarif:
        from assistant.procedure.sarif import to_sarif

        click.echo(json.dumps(to_sarif(findings), indent=2))
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
                },
                indent=2,
                ensure_ascii=False,
            )
        )
    else:
        for f in findings:
            click.echo(
                f"{f.file}:{f.line}:{f.column}: {f.severity}: {f.message} [{f.rule}]\n  Try: {f.suggestion}"
            )
        if not findings and not unreadable:
            click.echo(f"Clean: {len(RULES)} rules, nothing found.")
        for c in languages:
            click.echo(f"Note: {c.sentence()}")
    if unreadable:
        click.echo(SiteFileProblems(unreadable).format_message(), err=True)
        return 2
    return 1 if findings else 0


def check_all(paths: tuple[str, ...], folder: Path | None) -> tuple[list, list[Problem], list]:
    """(findings, problems of files that can't be read, languages' coverage) of the named procedures, or of all."""
    from assistant.procedure.check import check_procedure
    from assistant.procedure.languages import coverage
    from assistant.procedure.load import load_procedure, procedure_names

    findings: set = set()
    unreadable: list[Problem] = []
    languages: list = []
    names: list[tuple[str, Path | None]] = []
    for path in paths:
        if Path(path).is_dir():
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
                "Name a file or use --folder.",
            )
        )
    for name, where in names:
        try:
            loaded = load_procedure(name, where)
            findings.update(check_procedure(loaded))
            languages += coverage(loaded)
        except SiteFileProblems as error:
            unreadable.extend(error.problems)
    return sorted(findings), sorted(set(unreadable)), languages  # a shared part is read once a procedure

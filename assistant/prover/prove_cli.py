"""`assistant prove [NAME...] [--all]`: is there any way through a procedure that breaks what must hold?"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assistant.errors import FindingsError, UsageError
from assistant.prover.properties import PROPERTIES

if TYPE_CHECKING:
    from assistant.prover.proof import Counterexample, Proof


@click.command()
@click.argument("names", nargs=-1)
@click.option("--all", "every", is_flag=True, help="Every procedure of the folder.")
@click.option(
    "--procedures", "--folder", "folder", type=click.Path(path_type=Path),
    help="Folder of the site's files, if it isn't `procedures`.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.option("--script", "script", type=click.Path(path_type=Path), help="Write a counterexample here, as a script.")
@click.option("--processes", type=click.IntRange(1, 16), default=2, show_default=True)
def prove(
    names: tuple[str, ...], every: bool, folder: Path | None, as_json: bool, script: Path | None, processes: int
) -> int:
    """Prove procedures by NAME or file: every answer, every mishap at every step, with the core that runs them.

    Exit code 0: proven. 1: refuted; the shortest way to break it is shown. 2: a file can't be read.
    """
    from assistant.procedure.loading.load import load_procedure, procedure_names
    from assistant.prover.proof import prove_procedure

    wanted = list(names) or (procedure_names(folder) if every else [])
    if not wanted:
        raise UsageError("Which procedure?", expected="names, files, or --all", try_next="assistant prove --all")
    loaded = [load_procedure(name, folder) for name in wanted]  # all of them can be read, or none is proven
    proofs = []
    for one in loaded:
        print(f"{one.procedure.id}: searching", file=sys.stderr)
        proof = prove_procedure(one, processes=processes, shown=True)
        proofs.append(proof)
        if not as_json:
            _show(proof)
    refuted = [p for p in proofs if not p.proven]
    if script is not None and refuted and refuted[0].counterexample:
        script.write_text("\n".join(refuted[0].counterexample.script) + "\n", encoding="utf-8")
    if as_json:
        click.echo(json.dumps({"procedures": [p.as_json() for p in proofs]}, ensure_ascii=False))
    if refuted:
        if as_json:
            return 1
        raise FindingsError(f"Not proven: {', '.join(p.name for p in refuted)}.")
    return 0


def _show(proof: Proof) -> None:
    click.echo(
        f"{proof.name}: {'proven' if proof.proven else 'NOT PROVEN'}. "
        f"{proof.states} states, {proof.transitions} transitions, {proof.seconds:.1f} s."
    )
    if proof.proven:
        for prop, status in proof.properties.items():
            click.echo(f"  {status:8} {PROPERTIES[prop]}")
        click.echo(f"  Bound: {proof.bounded}.")
        click.echo("  Proven is what the files ask for. What they leave out themselves, `assistant check` looks for.")
        return
    example = proof.counterexample
    if example is None:
        click.echo("  The search was stopped before everything was visited. Nothing is claimed.")
        return
    click.echo(f"  Broken: {PROPERTIES[example.prop]}.")
    click.echo(f"  What happens: {example.text}.")
    if example.step:
        click.echo(f"  The step at hand: {example.step}.")
    click.echo(f"  {_how_near(example)}, {len(example.words)} inputs:")
    for number, line in enumerate(example.words, 1):
        click.echo(f"  {number:4}. {line}")
    click.echo(f"  The same as a script (`--script FILE` writes it; `assistant run {proof.name} --script FILE` plays it):")
    for line in example.script:
        click.echo(f"    {line}")


def _how_near(example: Counterexample) -> str:
    """What is known of the way's length."""
    if example.shortest:
        return "The shortest way there"
    if example.prop == "stands_alone":
        return "The run that leads there"  # at the author's own pace there is one for each set of answers
    return "A way there (there may be a shorter one)"

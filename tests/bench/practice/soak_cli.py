"""`assistant soak`: sessions by the thousand at simulated speed, or by the ten with real sound."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from assistant.errors import FindingsError, UsageError
from assistant.practice.operator.persona import load_persona, persona_names
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.station.account.json_out import print_json
from tests.bench.practice.shrink import script_text, shrink
from tests.bench.practice.side_by_side import cores
from tests.bench.practice.soak import Soaked, soak_side_by_side


@click.command("soak")
@click.option("--sessions", type=click.IntRange(0, 10_000_000), default=500, show_default=True, help="How many, without sound.")
@click.option("--sound", "sound_sessions", type=click.IntRange(0, 1000), default=0, help="How many with real sound.")
@click.option("--hours", type=click.FloatRange(0, 10_000), default=0.0, help="With real sound: until so many hours of work are done.")
@click.option("--journal", "journals", multiple=True, type=click.Path(path_type=Path),
              help="Keep each finished session with sound here, and go on from there. Further ones are only read.")
@click.option("--part", metavar="K/N", default="1/1", help="With real sound: the K-th of N shares, for several machines.")
@click.option("--persona", "personas", multiple=True, help="Which persona, by id or file; repeat for several. Default: all.")
@click.option("--procedure", "procedures", multiple=True, default=("gb-2-light-clean",), show_default=True,
              help="Which procedure; repeat for several.")
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Another number, other sessions.")
@click.option("--jobs", type=click.IntRange(1, 64), help="Processes side by side. The figures don't depend on it. Default: one a core.")
@click.option("--by-ear", is_flag=True, help="With --sound: operators hear the assistant's sound through a recogniser.")
@click.option("--scripts", type=click.Path(path_type=Path), help="Folder for a short script of each engine fault.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def soak(
    sessions: int, sound_sessions: int, personas: tuple[str, ...], procedures: tuple[str, ...], seed: int,
    scripts: Path | None, as_json: bool, by_ear: bool, jobs: int | None, hours: float, journals: tuple[Path, ...], part: str,
) -> int:
    """Run virtual operators through the real core; the simulated enclosure judges what was believed.

    Exit code 1 when the core itself was at fault.
    """
    with_sound = bool(sound_sessions or hours or journals)
    if by_ear and not with_sound:
        raise UsageError("Hearing by ear needs sound.", try_next="--sound N --by-ear")
    share = _share(part)
    people = [load_persona(name) for name in personas or persona_names()]
    plans = [compile_plan(load_procedure(name)) for name in procedures]
    jobs = jobs or cores()
    total = soak_side_by_side(plans, people, sessions, seed, jobs, on_progress=_progress)
    found = {**total.as_json(), "jobs": jobs}
    found["skipped"] = [] if with_sound else ["sessions with real sound (--sound N)"]
    if not by_ear:
        found["skipped"].append("operators that hear by ear: they are given the assistant's lines as text")
    if with_sound:
        from tests.bench.practice.soak_sound import SoundSoak, soak_with_sound
        from tests.bench.practice.sound_journal import Journal

        what = SoundSoak(procedures[0], tuple(people), seed, by_ear, share)
        found["sound"] = soak_with_sound(what, sound_sessions, hours=hours, journal=Journal(journals), jobs=jobs, say=_say)
    found["scripts"] = _write_scripts(total, plans, scripts) if total.faults else []
    if as_json:
        print_json(found)
    else:
        _show(found)
    faults = found["engine_faults"] + found.get("sound", {}).get("engine_faults", 0)
    if faults:
        first = total.faults[0] if total.faults else None
        text = f" First: {first.findings[0].what} (seed {first.seed})." if first and first.findings else ""
        raise FindingsError(
            f"{faults} engine faults.{text}", try_next=f"assistant run --script {found['scripts'][0]}" if found["scripts"] else "",
        )
    return 0


def _share(text: str) -> tuple[int, int]:
    """"2/3" -> (2, 3). Raises UsageError."""
    k, _, n = text.partition("/")
    if not (k.isascii() and k.isdigit() and n.isascii() and n.isdigit() and 1 <= int(k) <= int(n)):
        raise UsageError(f"'{text}' is no share.", expected="such as 1/2 and 2/2", try_next="--part 1/2")
    return int(k), int(n)


def _say(text: str) -> None:
    click.echo(text, err=True)


def _progress(done: int, total: Soaked) -> None:
    if done % 500 == 0:
        rate = done / total.taken_s if total.taken_s else 0.0
        click.echo(f"{done} sessions, {rate:.1f} a second, engine faults {total.wrong['engine_fault']}", err=True)


def _write_scripts(total: Soaked, plans: list, folder: Path | None) -> list[str]:
    folder = folder or Path.cwd() / "soak-faults"
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for n, fault in enumerate(total.faults[:5], 1):
        plan = plans[0] if len(plans) == 1 else next(p for p in plans if p.procedure == fault.procedure)
        path = folder / f"fault-{n}.jsonl"
        head = f"# {fault.procedure}, seed {fault.seed}: {fault.findings[0].what if fault.findings else ''}\n"
        path.write_text(head + script_text(shrink(plan, fault.given)), encoding="utf-8")
        written.append(str(path))
    return written


def _show(found: dict[str, Any]) -> None:
    wrong = ", ".join(f"{name.replace('_', ' ')} {n}" for name, n in found["wrong_acceptances"].items())
    rows = [
        ("Sessions", f"{found['sessions']}, {found['completed']} completed, {found['simulated_h']} h of work"),
        ("Speed", f"{found['sessions_per_s']} sessions a second"),
        ("Wrongly believed", wrong),
        ("Missed words", str(found["missed_words"])),
        ("Lost to it", f"{found['lost_s_per_session']} s a session saying things again"),
        ("Engine faults", str(found["engine_faults"])),
    ]
    if "sound" in found:
        rows.append(("With sound", ", ".join(f"{k.replace('_', ' ')} {v}" for k, v in found["sound"].items())))
    for name, text in rows:
        click.echo(f"  {name:<18} {text}")



"""`assistant clips`: which clips of voices the site keeps, and for how long."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from assistant.errors import UsageError
from assistant.record.beside.clip_rule import clips_kept, expire_clips, load_rule, rule_file, save_rule
from assistant.record.beside.clips import ClipPolicy
from assistant.record.commands.shared import print_json, records_root, wall_now
from assistant.record.storage.index import list_records

_WHICH = {
    "all": "every utterance", "refused": "utterances that were refused", "none": "no utterance",
}  # fmt: skip


@click.command("clips")
@click.option("--keep", type=click.Choice(["all", "refused", "none"]), help="Which utterances are kept as sound.")
@click.option("--days", type=click.IntRange(0, 36_500), help="For how many days after a session.")
@click.option("--for-ever", is_flag=True, help="As long as the record.")
@click.option("--expire", is_flag=True, help="Delete now what is past its days; hashes stay in the records.")
@click.option("--records", type=click.Path(file_okay=False), help="The site's records.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def command(
    keep: Literal["all", "refused", "none"] | None, days: int | None, for_ever: bool, expire: bool, records: str | None, as_json: bool
) -> int:
    """Show or set the site's rule for clips of what was heard. They are somebody's voice.

    A new rule holds for sessions begun from then on; its days hold for all clips. Each live session, once it is
    over, deletes what is past its days. Who may listen stands in the review rules (clip_listeners).
    """
    if for_ever and days is not None:
        raise UsageError("Clips are kept either for some days or for ever.", try_next="leave one of them out")
    root = Path(records) if records else records_root()
    changed = keep is not None or days is not None or for_ever
    if changed and not (keep and (for_ever or days is not None)):
        held = load_rule(root)  # only what was named changes; a damaged rule must be given whole
        keep, days = keep or held.keep, None if for_ever else held.days if days is None else days
    if keep is not None:
        save_rule(root, ClipPolicy(keep, None if for_ever else days))
    rule = load_rule(root)
    gone = expire_clips(root, rule, wall=wall_now()) if expire else []
    kept = sum(clips_kept(entry) for entry in list_records(root)) if root.is_dir() else 0
    if as_json:
        print_json({
            "keep": rule.keep, "days": rule.days, "rule": str(rule_file(root)) if rule_file(root).exists() else "",
            "clips": kept, "deleted": [{"session": session, "sha256": sha} for session, sha in gone],
        })  # fmt: skip
        return 0
    until = "as long as the record" if rule.days is None else f"for {rule.days} days"
    click.echo(f"Kept as sound: {_WHICH[rule.keep]}" + (f", {until}." if rule.keep != "none" else "."))
    click.echo(f"{kept} clips are here." + (f" {len(gone)} were deleted." if expire else ""))
    return 0

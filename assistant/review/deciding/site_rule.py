"""The site's rule for review: what needs whose signature, who may listen, what a remote viewer may witness.

A YAML file of kind review_rules; without one the rules in `site_rules.yaml` beside this module hold.
"""

from __future__ import annotations

from datetime import tzinfo
from decimal import Decimal
from pathlib import Path
from typing import Literal

from pydantic import Field, field_validator

from assistant.errors import SiteFileError
from assistant.procedure.loading.problems import SiteFileProblems
from assistant.procedure.loading.validate import validate
from assistant.procedure.loading.yaml_tree import read_tree
from assistant.procedure.model.base import Days, Node
from assistant.review.session.times import zone_named

DEFAULT_RULES = Path(__file__).parent.parent / "site_rules.yaml"
Role = Literal["technician", "supervisor", "author", "reader"]
Signer = Literal["technician", "supervisor"]
ANY = "any"


class Provisional(Node):
    """A provisional release. `by`: roles. `own`: whether by who did the clean. `without_deviation`: only
    then."""

    by: list[Signer] = Field(min_length=1)
    own: bool = False
    without_deviation: bool = True


class Release(Node):
    """What a clean of `purpose` (or any) needs: `final` roles to decide, within so many days of its end."""

    purpose: str = Field(max_length=40)
    final: list[Signer] = Field(min_length=1)
    within: Days = Decimal(1)
    provisional: Provisional | None = None


class WitnessRule(Node):
    """`at_enclosure`: enclosure id -> network addresses of devices that stand within sight of it; the machine
    that serves the pages is one of them by itself when `this_machine`. `remote_steps`: kinds of step that
    somebody elsewhere may witness (never one about a surface)."""

    this_machine: bool = True
    at_enclosure: dict[str, list[str]] = {}
    remote_steps: list[Literal["reading", "note", "check"]] = []


class RulesFile(Node):
    """The whole file."""

    format: Literal[1]
    kind: Literal["review_rules"]
    time_zone: str = Field(default="", max_length=60)
    release: list[Release] = Field(min_length=1)
    compare: bool = False
    clip_listeners: list[Role] = ["supervisor"]
    sound_listeners: list[Role] = ["supervisor"]
    warn_days: int = Field(default=2, ge=0, le=60)
    witness: WitnessRule = WitnessRule()

    @field_validator("time_zone")
    @classmethod
    def _zone(cls, value: str) -> str:
        zone_named(value)
        return value

    @property
    def zone(self) -> tzinfo | None:
        """The site's zone; None: each time in the offset it was written with."""
        return zone_named(self.time_zone)

    def release_for(self, purpose: str) -> Release:
        """The rule for a purpose: its own, else the one for any, else a supervisor within a day."""
        for rule in self.release:
            if rule.purpose == purpose:
                return rule
        for rule in self.release:
            if rule.purpose == ANY:
                return rule
        return Release(purpose=ANY, final=["supervisor"])


def load_rules(path: Path | None = None) -> RulesFile:
    """The rules in `path`, or the shipped ones. Raises SiteFileError with file and line of each problem."""
    path = Path(path) if path else DEFAULT_RULES
    if not path.is_file():
        raise SiteFileError(
            "There is no such rule file.",
            where=str(path),
            expected="a file of kind review_rules",
            try_next="Leave --rules out to use the shipped rules.",
        )
    tree = read_tree(path, str(path))
    rules: RulesFile
    rules, problems = validate(RulesFile, tree.data, tree)
    if problems:
        raise SiteFileProblems(problems)
    return rules

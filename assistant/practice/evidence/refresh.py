"""What is due to be refreshed, per step and per mishap, by spaced repetition: FSRS-6 through the `fsrs` package.

The algorithm is published at github.com/open-spaced-repetition; a test recomputes its formulas. No fuzzing: the same
history gives the same dates.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fsrs import Card, Rating, Scheduler

from assistant.errors import SiteFileError

_RATINGS = {"again": Rating.Again, "hard": Rating.Hard, "good": Rating.Good, "easy": Rating.Easy}
_WEIGHT_DUE, _WEIGHT_WRONG = 3.0, 6.0


class Refresh:
    """One trainee's cards. `desired_retention`: the chance of still knowing it at which it becomes due."""

    def __init__(self, desired_retention: float = 0.9) -> None:
        self.scheduler = Scheduler(desired_retention=desired_retention, enable_fuzzing=False)
        self.cards: dict[str, Card] = {}
        self.last: dict[str, str] = {}

    def review(self, item: str, how: str, at: datetime) -> datetime:
        """Book one occasion; returns when the item is due again. `how`: again, hard, good or easy; `at` in UTC."""
        card = self.cards.get(item) or Card(card_id=len(self.cards) + 1, due=at)
        card, _log = self.scheduler.review_card(card, _RATINGS[how], review_datetime=at.astimezone(UTC))
        self.cards[item], self.last[item] = card, how
        return card.due

    def recall(self, item: str, at: datetime) -> float:
        """The estimated chance, 0 to 1, that it is still known; 0 for what was never practised."""
        card = self.cards.get(item)
        return self.scheduler.get_card_retrievability(card, at.astimezone(UTC)) if card else 0.0

    def due(self, at: datetime) -> list[tuple[str, datetime]]:
        """Items due by `at`, the longest due first."""
        found = [(item, card.due) for item, card in self.cards.items() if card.due <= at]
        return sorted(found, key=lambda pair: (pair[1], pair[0]))

    def weights(self, at: datetime) -> dict[str, float]:
        """Mishap word -> how much more often than once it should be drawn (see `drills.draw`)."""
        out = {}
        for item, card in self.cards.items():
            if item.startswith("mishap:"):
                wrong = self.last.get(item) == "again"
                out[item.removeprefix("mishap:")] = _WEIGHT_WRONG if wrong else _WEIGHT_DUE if card.due <= at else 1.0
        return out

    def to_json(self) -> dict[str, Any]:
        return {
            "desired_retention": self.scheduler.desired_retention,
            "cards": {item: json.loads(card.to_json()) for item, card in sorted(self.cards.items())},
            "last": dict(sorted(self.last.items())),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any], where: str = "refresh") -> Refresh:
        """Raises SiteFileError for what isn't a refresh file."""
        try:
            made = cls(float(data["desired_retention"]))
            made.cards = {item: Card.from_json(json.dumps(card)) for item, card in data["cards"].items()}
            made.last = {str(k): str(v) for k, v in data["last"].items()}
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise SiteFileError(f"This isn't a trainee's refresh file: {error}.", where=where) from error
        return made

    def save(self, path: Path) -> None:
        """Write it whole or not at all."""
        path.parent.mkdir(parents=True, exist_ok=True)
        half = path.with_suffix(".part")
        half.write_text(json.dumps(self.to_json(), indent=1, sort_keys=True) + "\n", encoding="utf-8")
        half.replace(path)

    @classmethod
    def load(cls, path: Path) -> Refresh:
        """From a file; new where there is none. Raises SiteFileError."""
        if not path.exists():
            return cls()
        try:
            return cls.from_json(json.loads(path.read_text(encoding="utf-8")), str(path))
        except (OSError, ValueError) as error:
            raise SiteFileError(f"The trainee's refresh file can't be read: {error}.", where=str(path)) from error

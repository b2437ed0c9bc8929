"""The index's tables. Everything in them can be read from the records again."""

from __future__ import annotations

import json
from datetime import timedelta

from sqlalchemy import Boolean, Integer, String, Text
from sqlalchemy import Index as TableIndex
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from assistant.review.session.digest import Finding
from assistant.review.session.times import parse_wall

VERSION = 9  # of the columns below; an index of another version is made anew


class Base(DeclarativeBase):
    """All tables."""


class Meta(Base):
    """What the index itself is."""

    __tablename__ = "meta"
    name: Mapped[str] = mapped_column(String, primary_key=True)
    value: Mapped[str] = mapped_column(Text)


class Row(Base):
    """One session. Times: `*_utc` sortable UTC, `*_wall` as written. `state`: sealed, live, open or
    broken."""

    __tablename__ = "sessions"
    session: Mapped[str] = mapped_column(String, primary_key=True)  # enclosure folder/session folder
    size: Mapped[int] = mapped_column(Integer)
    mtime_ns: Mapped[int] = mapped_column(Integer)
    state: Mapped[str] = mapped_column(String)
    problem: Mapped[str] = mapped_column(Text, default="")
    kind: Mapped[str] = mapped_column(String, default="")
    enclosure: Mapped[str] = mapped_column(String, default="")
    enclosure_name: Mapped[str] = mapped_column(Text, default="")
    site: Mapped[str] = mapped_column(Text, default="")
    procedure: Mapped[str] = mapped_column(Text, default="")
    title: Mapped[str] = mapped_column(Text, default="")
    revision: Mapped[str] = mapped_column(Text, default="")
    purpose: Mapped[str] = mapped_column(String, default="")
    technician: Mapped[str] = mapped_column(Text, default="")
    people: Mapped[str] = mapped_column(Text, default="[]")
    started_utc: Mapped[str] = mapped_column(String, default="")
    started_wall: Mapped[str] = mapped_column(String, default="")
    ended_utc: Mapped[str] = mapped_column(String, default="")
    ended_wall: Mapped[str] = mapped_column(String, default="")
    duration_ms: Mapped[int] = mapped_column(Integer, default=0)
    verdict: Mapped[str] = mapped_column(String, default="")
    facts: Mapped[int] = mapped_column(Integer, default=0)
    deviations: Mapped[int] = mapped_column(Integer, default=0)
    weight: Mapped[int] = mapped_column(Integer, default=0)
    reasons: Mapped[str] = mapped_column(Text, default="[]")
    decision: Mapped[str] = mapped_column(String, default="")
    decided: Mapped[bool] = mapped_column(Boolean, default=False)  # a final decision stands
    needs: Mapped[bool] = mapped_column(Boolean, default=False)  # a person must decide on it
    decided_by: Mapped[str] = mapped_column(Text, default="")
    decided_wall: Mapped[str] = mapped_column(String, default="")
    # Who signed it, by key, and what of the site's registry that was judged by: where this is no more so, it is read anew.
    signers: Mapped[str] = mapped_column(Text, default="")
    judged: Mapped[str] = mapped_column(Text, default="")
    head: Mapped[str] = mapped_column(String, default="")
    search: Mapped[str] = mapped_column(Text, default="")  # what can be looked for, without capitals
    # The long ones last: SQLite reads a row from its beginning, and lists don't need these.
    step_ms: Mapped[str] = mapped_column(Text, default="{}")
    findings: Mapped[str] = mapped_column(Text, default="[]")

    __table_args__ = (
        # Each holds all that its list asks for, so that counting and searching ten thousand sessions reads a
        # narrow index and not the rows.
        TableIndex("by_need", "needs", "weight", "started_utc", "session"),
        TableIndex("by_open", "needs", "started_utc", "session", "search", "enclosure"),
        TableIndex("by_enclosure", "enclosure", "ended_utc", "kind", "decision", "purpose", "session"),
        TableIndex("by_place", "enclosure", "enclosure_name"),
        TableIndex("by_decision", "enclosure", "kind", "decision", "purpose", "ended_utc", "started_utc", "session"),
        TableIndex(
            "by_start",
            "started_utc",
            "session",
            "search",
            "kind",
            "state",
            "decided",
            "decision",
            "enclosure",
        ),
        TableIndex("by_duty", "enclosure", "purpose", "ended_utc"),
        TableIndex("by_technician", "technician", "procedure", "started_utc"),
    )

    @property
    def ended_local(self) -> str:
        """The end as RFC 3339 in the offset it was started in: the start plus the measured length."""
        begun = parse_wall(self.started_wall)
        if begun is None or self.duration_ms > 10**12:
            return self.ended_wall
        return (begun + timedelta(milliseconds=self.duration_ms)).isoformat(timespec="seconds")

    @property
    def reason_list(self) -> list[str]:
        """Why it needs a look, heaviest first."""
        return list(json.loads(self.reasons))

    @property
    def people_list(self) -> list[str]:
        """Everybody who worked in it."""
        return list(json.loads(self.people))

    @property
    def finding_list(self) -> list[Finding]:
        """All findings in the order of time."""
        return [Finding(**item) for item in json.loads(self.findings)]

    @property
    def steps(self) -> dict[str, int]:
        """Time per step, in ms."""
        return dict(json.loads(self.step_ms))

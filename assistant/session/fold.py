"""One fold for live work, replay, verification and pages."""

from __future__ import annotations

from assistant.session.evolve import evolve, fold

__all__ = ["evolve", "fold"]

"""One module per page: it gathers, the template shows. A handler's name is its row in `review.roles`."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any


def handlers() -> dict[str, Callable[..., Any]]:
    """Route name -> handler."""
    from assistant.review.pages import (
        board,
        door,
        facts,
        home,
        instant,
        media,
        practice,
        register,
        session,
        sign,
        static,
    )

    found: dict[str, Callable[..., Any]] = {}
    for module in (static, door, home, session, instant, facts, media, sign, board, register, practice):
        found |= module.HANDLERS
    return found

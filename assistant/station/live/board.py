"""What the board sends to a running session: a witness's signed statement, taken once."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from pathlib import Path

from assistant.record.signing.keys import KeyStore
from assistant.review.deciding.inbox import read_statements
from assistant.review.serving.places import keys_folder
from assistant.session import inputs
from assistant.session.state import State
from assistant.station.loop.clock import Clock

_EVERY_MS = 500  # the folder is looked at so often, not at every turn of the loop


def board(
    folder: Path, state: Callable[[], State], clock: Clock, keys: Path | None = None,
) -> Callable[[], inputs.Input | None]:
    """A function that gives the next statement about the step at hand, or None. One about another step, or signed by
    a key the site doesn't know, is no input. `keys`: the site's key store; None: where the pages keep it."""
    session = f"{folder.parent.name}/{folder.name}"
    store = KeyStore(keys or keys_folder(None))
    next_ms = 0

    def take() -> inputs.Input | None:
        nonlocal next_ms
        now = clock.now_ms()
        if state().mode != "witness" or now < next_ms:
            return None
        next_ms = now + _EVERY_MS
        for found in read_statements(folder, store.public_keys(), session):
            with contextlib.suppress(OSError):
                found.path.unlink()
            if found.step == state().current:
                return inputs.Witness(found.person, found.statement)
        return None

    return take

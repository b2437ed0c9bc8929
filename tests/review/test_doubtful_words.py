"""Which heard words a supervisor is shown as doubtful."""

from __future__ import annotations

import pytest

from assistant.review.pages.session import _doubtful
from assistant.session.facts.lines import Heard


@pytest.mark.parametrize(
    ("word", "value", "source", "sure_pm", "doubtful"),
    [
        ("confirm", "", "voice", 570, True),
        ("confirm", "", "voice", 0, True),
        ("confirm", "", "voice", 900, False),
        ("confirm", "", "keys", 0, False),
        ("", "-67", "voice", 0, False),  # no figure was kept; it was read back and confirmed
        ("", "-67", "voice", 400, True),
    ],
)
def test_a_value_without_a_figure_is_not_shown_as_zero_percent(
    word: str, value: str, source: str, sure_pm: int, doubtful: bool
) -> None:
    heard = Heard(5_000, word, True, "", source, 4_000, 4_900, word or value, value, sure_pm)
    assert _doubtful(heard) is doubtful

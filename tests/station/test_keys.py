"""Keys send the same inputs as the voice."""

from __future__ import annotations

from assistant.language import vocabulary as w
from assistant.session import inputs
from assistant.station.live.keys import KEYS, KeyReader, key_help


def test_every_key_is_a_command_the_core_knows_and_is_shown() -> None:
    for key, word in KEYS.items():
        assert word in w.ALL, key
        assert word.replace("_", " ") in key_help()


def test_a_value_is_typed_after_an_equals_sign_and_can_be_mended() -> None:
    reader = KeyReader()
    given = [reader.take(char) for char in "=-4x\x7f0.5\n"]
    assert given[-1] == inputs.Value("-40.5", source="keys", said="-40.5")
    assert given[:-1] == [None] * (len(given) - 1)


def test_an_unknown_key_and_an_empty_value_are_nothing() -> None:
    reader = KeyReader()
    assert reader.take("\x1b") is None
    assert reader.take("=") is None and reader.take("\r") is None
    assert reader.take("c") == inputs.Word("confirm", source="keys", said="c")

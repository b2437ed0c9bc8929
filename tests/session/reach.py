"""A session brought into each mode by real inputs, for the tests that sweep all of them."""

from __future__ import annotations

from collections.abc import Callable

from assistant.language import vocabulary as w
from assistant.session import inputs
from tests.session.rich_plan import rich_plan
from tests.session.walk import Walk

PRESET = (("patch", False),)


def _at(step: str, mode: str = "") -> Walk:
    return Walk(rich_plan(), options=PRESET).go(step, mode=mode)


def _said(step: str, *words: str) -> Walk:
    walk = _at(step)
    for word in words:
        walk.say(word, after=4_000)
    return walk


def _rewet() -> Walk:
    walk = _at("bridge:wait:back")
    while walk.mode != "rewet":
        walk.after(1_000)
    return walk


def _value_back() -> Walk:
    walk = _at("lot")
    walk.value("AB12")
    return walk


def _end(*words: str) -> Walk:
    walk = _at("open-outer")
    for word in words:
        walk.say(word, after=4_000)
    return walk


def _complete() -> Walk:
    walk = Walk(rich_plan(), options=PRESET)
    walk.finish()
    return walk


def _incomplete() -> Walk:
    walk = _at("seen")
    walk.say(w.SKIP, after=1_000)
    walk.say(w.CONFIRM, after=1_000)
    walk.finish()
    return walk


def _recover() -> Walk:
    walk = _at("open-outer")
    walk.after(60_000).give(inputs.Recover(60_000))
    return walk


REACH: dict[str, Callable[[], Walk]] = {
    "option": lambda: Walk(rich_plan()),
    "step": lambda: _at("wet-left", "step"),
    "value": lambda: _at("gauge", "value"),
    "value_back": _value_back,
    "read_back": lambda: _said("purge", w.CONFIRM),
    "witness": lambda: _at("count", "witness"),
    "wait": lambda: _at("purged", "wait"),
    "rewet": _rewet,
    "trouble": lambda: _said("wet-shelf", w.TROUBLE),
    "which": lambda: _said("wet-shelf", "power_cut"),
    "paused": lambda: _said("wet-shelf", w.PAUSE),
    "stopping": lambda: _said("wet-shelf", w.STOP),
    "recover": _recover,
    "complete": _complete,
    "incomplete": _incomplete,
    "stopped": lambda: _end(w.STOP, w.CONFIRM),
    "left": lambda: _end(w.FIRE),
}

"""Somebody at the gauntlets for measurements: does what is asked, asks back now and then, sometimes errs. Seeded."""

from __future__ import annotations

import random

from assistant.language import vocabulary as w
from assistant.procedure.model.plan import Plan
from assistant.session import expects, inputs, next_deadline_ms
from assistant.session.lookup import step_of
from assistant.session.order.bridges import SIGN_IN
from assistant.session.state import State

_ASIDES = (w.REPEAT, w.HOW_LONG, w.STILL_WET, w.WHERE, w.WHATS_NEXT, w.WHY, w.HELP)
_SLIPS = (w.CORRECTION, "dropped_item", "touched", "torn_glove", w.PAUSE, w.GO_BACK, w.NO)
_LINE_MS = 2_500  # how long a line sounds here


class Policy:
    """`next(plan, state)` -> (session time in ms, input). `calm`: only what carries the work on, so that it ends."""

    def __init__(self, seed: int | str, *, calm: bool = False) -> None:
        self._random = random.Random(f"policy:{seed}")
        self._calm = calm
        self._now_ms = 0  # time passes where nothing is decided, too

    def next(self, plan: Plan, state: State) -> tuple[int, inputs.Input]:
        """The next thing that happens, never later than the next deadline."""
        at_ms, given = self._wish(plan, state)
        due = next_deadline_ms(plan, state)
        if due is not None and due <= at_ms:
            at_ms, given = max(due, state.now_ms), inputs.Tick()
        self._now_ms = at_ms
        return at_ms, given

    def _wish(self, plan: Plan, state: State) -> tuple[int, inputs.Input]:
        now, chance = max(state.now_ms, self._now_ms), self._random.random()
        if state.open_lines and chance > 0.02:
            end = now + _LINE_MS
            return end, inputs.LineDone(min(state.open_lines), now, end, False)
        after = now + self._random.randrange(3_000, 25_000)
        if not self._calm and chance < 0.06:
            return after, self._word(self._random.choice(_ASIDES), after)
        if not self._calm and chance < 0.09:
            return after, self._word(self._random.choice(_SLIPS), after)
        return after, self._answer(plan, state, after)

    def _answer(self, plan: Plan, state: State, at_ms: int) -> inputs.Input:
        mode, step = state.mode, step_of(plan, state)
        if mode == "value":
            kind = expects(plan, state)
            text = {"lot": "AB12", "date": "2030-03-01"}.get(kind or "") or (step and (step.low or step.high)) or "1"
            return inputs.Value(text, source="keys")
        if mode == "witness":
            return inputs.Witness("Colleague", "I saw it.")
        if mode == "which":
            return inputs.Value("1", source="keys") if state.which else self._word(w.ENCLOSURE, at_ms)
        if mode == "wait":
            return inputs.Tick()
        if state.current == SIGN_IN and mode == "step":
            return inputs.SignIn("Relief")
        if mode == "paused":
            return self._word(w.RESUME, at_ms)
        if mode in ("trouble", "stopping"):
            return self._word(w.CANCEL, at_ms)
        if mode == "recover" and not self._calm and self._random.random() < 0.3:
            return self._word(w.NO, at_ms)
        if mode == "rewet" and (self._calm or self._random.random() < 0.9):
            return self._word(w.REWETTED, at_ms)
        return self._word(w.CONFIRM, at_ms)

    @staticmethod
    def _word(word: str, at_ms: int) -> inputs.Word:
        return inputs.Word(word, at_ms - 400, at_ms, source="keys")

"""A made-up technician for seeded sessions: plausible words at plausible times, drawn from one random
generator.

It drives the real core, so that every record made this way is one the core would have written. It is for
figures and tests of the pages only; drills have operators of their own.
"""

from __future__ import annotations

import hashlib
import random
from array import array
from collections.abc import Callable
from dataclasses import dataclass

from assistant.language import vocabulary as w
from assistant.procedure.model.plan import CHECK, WET, Plan
from assistant.session import decide, evolve, initial, next_deadline_ms
from assistant.session import inputs as i
from assistant.session.facts.base import Fact
from assistant.session.facts.lines import LineSpoken
from assistant.session.lookup import step_of
from assistant.session.state import FINAL_MODES, State

Decided = Callable[[tuple[Fact, ...], int], None]
COLLEAGUES = ("Dana Reyes", "Ira Quill", "Sam Okoro", "Mika Lund")
_MS_PER_LETTER = 62
_REASONS = ("not a command", "too quiet", "two words at once", "the second listener disagrees")


@dataclass(frozen=True)
class Manner:
    """How this technician works. Chances are per step; `slow` stretches every step; `idle_ms` is how long the
    pauses are that they take with chance `pauses`. `until_ms`: keep interrupting until then (long
    sessions)."""

    mishears: float = 0.08
    mishaps: float = 0.01
    corrects: float = 0.015
    skips: float = 0.004
    asks: float = 0.1
    late_rewet: float = 0.1
    pauses: float = 0.01
    slow: float = 1.0
    idle_ms: int = 40_000
    until_ms: int = 0
    person: str = "Dana Reyes"
    witness: str = "Ira Quill"


class Operator:
    """Runs one session over `plan` to its end, or to `stop_ms`. `decided(facts, now_ms)` gets each
    decision."""

    def __init__(
        self,
        plan: Plan,
        seed: int,
        manner: Manner,
        decided: Decided,
        *,
        kind: str = "live",
        keep_clip: Callable[[bytes], str] | None = None,
    ) -> None:
        self.plan = plan
        self.chance = random.Random(seed)
        self.manner = manner
        self.kind = kind
        self.state = initial(plan)
        self.now_ms = 0
        self._decided = decided
        self._keep_clip = keep_clip
        self._ends: list[tuple[int, int, int]] = []  # (end, line, start) of lines that sound
        self._voice_free_ms = 0
        self._extras: set[str] = set()

    def begin(self) -> None:
        """The first decision."""
        options = tuple((option.id, self.chance.random() < 0.5) for option in self.plan.options)
        preset = options if self.chance.random() < 0.7 else ()
        self._give(i.Begin(self.manner.person, self.kind, True, False, preset))

    def run(self, stop_ms: int = 1 << 60) -> State:
        """From the beginning until the verdict, or until session time `stop_ms`."""
        self.begin()
        while self.state.mode not in FINAL_MODES and self.now_ms < stop_ms:
            self.act()
        self._pass(self._voice_free_ms + 200)
        return self.state

    def act(self) -> None:
        """One thing the technician does, with the time that passes before it."""
        self._pass(max(self.now_ms, self._voice_free_ms) + self._reaction())
        state = self.state
        if state.mode in FINAL_MODES or self._chatter(state):
            return
        getattr(self, f"_in_{state.mode}", self._in_other)(state)

    def _reaction(self) -> int:
        return int(self.chance.uniform(350, 1400))

    def _in_other(self, state: State) -> None:
        self._word(w.CONFIRM)

    def _in_option(self, state: State) -> None:
        self._word(w.CONFIRM if self.chance.random() < 0.5 else w.NO)

    def _in_step(self, state: State) -> None:
        step = step_of(self.plan, state)
        if step is None:
            self._pass(self.now_ms + 500)
            return
        if step.id == "bridge:person:sign-in":
            others = [name for name in COLLEAGUES if name != state.person]
            self._give(i.SignIn(self.chance.choice(others)))
            return
        if self._once(state, "skip", self.manner.skips):
            self._word(w.SKIP)
            return
        if step.kind == WET and state.stroke_ms < 0 and self.chance.random() < 0.8:
            self._word(w.STARTED)
        work = (step.expected_ms or 6_000) * self.manner.slow * self.chance.lognormvariate(-0.15, 0.35)
        self._pass(self.now_ms + int(max(900, work)))
        if self.state.mode != "step" or self.state.current != state.current:
            return
        if step.kind == CHECK and self.chance.random() < 0.01 and step.on_no == "deviate":
            self._word(w.NO)
        else:
            self._word(w.CONFIRM)

    def _in_value(self, state: State) -> None:
        step = step_of(self.plan, state)
        kind = step.value_kind if step else "lot"
        if self.chance.random() < 0.002:
            self._word(w.SKIP)
        elif kind == "number":
            low, high = float(step.low or -60), float(step.high or -20)
            value = low - 6 if self.chance.random() < 0.01 else self.chance.uniform(low + 2, high - 2)
            self._value(str(round(value)))
        elif kind == "date":
            self._value(f"2028-{self.chance.randint(1, 12):02}-{self.chance.randint(1, 28):02}")
        else:
            self._value(
                self.chance.choice("ABCDEFGHKLM")
                + self.chance.choice("PRSTVX")
                + f"{self.chance.randint(0, 9999):04}"
            )

    def _in_value_back(self, state: State) -> None:
        self._word(w.NO if self.chance.random() < 0.05 else w.CONFIRM)

    def _in_witness(self, state: State) -> None:
        self._pass(self.now_ms + int(self.chance.uniform(4_000, 30_000)))
        if self.state.mode == "witness":
            self._give(i.Witness(self.manner.witness, "I stood at the window and saw it."))

    def _in_wait(self, state: State) -> None:
        due = next_deadline_ms(self.plan, state)
        self._pass((due if due is not None else self.now_ms + 1_000) + 1)

    def _in_rewet(self, state: State) -> None:
        late = self.chance.random() < self.manner.late_rewet
        self._pass(
            self.now_ms
            + int(self.chance.uniform(18_000, 40_000) if late else self.chance.uniform(3_000, 9_000))
        )
        if self.state.mode == "rewet":
            self._word(w.REWETTED)

    def _in_trouble(self, state: State) -> None:
        self._word(self.chance.choice([m.word for m in self.plan.mishaps.values() if m.word and m.then == "resume"]))

    def _in_which(self, state: State) -> None:
        if state.which:
            self._value(str(self.chance.randint(1, len(state.which))))
        elif self.plan.mishaps[state.mishap].asks_which:
            self._word(w.ENCLOSURE)
        else:
            self._word(w.CANCEL)

    def _in_paused(self, state: State) -> None:
        self._pass(self.now_ms + int(self.chance.uniform(0.4, 1.6) * self.manner.idle_ms))
        self._word(w.RESUME)

    def _once(self, state: State, what: str, chance: float) -> bool:
        """Whether it happens at this step; asked once for each."""
        key = f"{what}:{state.current}:{len(state.confirmed)}"
        if key in self._extras:
            return False
        self._extras.add(key)
        return self.chance.random() < chance

    def _chatter(self, state: State) -> bool:
        """Questions, misheard words, corrections, mishaps and pauses, now and then."""
        manner = self.manner
        if state.mode in ("step", "wait", "value", "paused") and self._once(
            state, "mishear", manner.mishears
        ):
            for _ in range(self.chance.choice((1, 1, 2, 3))):
                self._misheard()
            return True
        if state.mode not in ("step", "wait"):
            return False
        if self._once(state, "ask", manner.asks):
            self._word(self.chance.choice((w.HOW_LONG, w.STILL_WET, w.REPEAT, w.WHERE, w.WHATS_NEXT, w.WHY)))
            return True
        if state.confirmed and state.mode == "step" and self._once(state, "correct", manner.corrects):
            self._word(w.CORRECTION)
            return True
        if self._once(state, "mishap", manner.mishaps):
            gentle = [m.word for m in self.plan.mishaps.values() if m.word and m.then == "resume"]
            self._word(self.chance.choice(gentle or [w.TROUBLE]))
            return True
        if (
            self._once(state, "pause", manner.pauses)
            or (self.now_ms < manner.until_ms
            and self.chance.random() < 0.5)
        ):
            self._word(w.PAUSE)
            return True
        return False

    def _misheard(self) -> None:
        length = self.chance.randint(250, 900)
        self._pass(self.now_ms + length + 300)
        word = self.chance.choice(("", "", w.CONFIRM, w.STARTED, w.REPEAT))
        clip = self._clip(length)
        sure = self.chance.randint(120, 640)
        self._give(
            i.Misheard(
                self.chance.choice(_REASONS),
                word,
                self.now_ms - length,
                self.now_ms,
                "voice",
                "",
                sure,
                (("filler", 1000 - sure), ("word", sure)),
                clip,
            )
        )
        self._pass(max(self.now_ms, self._voice_free_ms))

    def _clip(self, length_ms: int) -> str:
        """The hash of a clip: a kept one where clips are kept, else of nothing in particular."""
        mark = self.chance.randbytes(8)
        if self._keep_clip is None:
            return hashlib.sha256(mark).hexdigest()
        noise = random.Random(mark)
        samples = array("h", (int(noise.gauss(0, 900)) for _ in range(16 * length_ms)))
        return self._keep_clip(samples.tobytes())

    def _word(self, word: str) -> None:
        self._pass(max(self.now_ms, self._voice_free_ms) + self.chance.randint(120, 400))
        length = self.chance.randint(350, 900)
        started, mode = self.now_ms, self.state.entered_ms
        self._pass(started + length)
        if self.state.entered_ms != mode:
            started = self.now_ms  # something else came up meanwhile: say it anew
            self._pass(max(started, self._voice_free_ms) + length)
            started = self.now_ms - length
        sure = self.chance.randint(780, 995)
        self._give(
            i.Word(
                word,
                max(started, self.state.entered_ms),
                self.now_ms,
                "voice",
                word.replace("_", " "),
                sure,
                (("filler", 1000 - sure), ("word", sure)),
            )
        )

    def _value(self, value: str) -> None:
        self._pass(max(self.now_ms, self._voice_free_ms) + self.chance.randint(1_500, 3_500))
        self._give(
            i.Value(
                value,
                max(0, self.now_ms - 1_400),
                self.now_ms,
                "voice",
                " ".join(value),
                self.chance.randint(700, 960),
            )
        )

    def _pass(self, until_ms: int) -> None:
        """Time goes on: deadlines fall due and lines end, each at its own millisecond."""
        until_ms = max(until_ms, self.now_ms)
        while self.state.mode not in FINAL_MODES or self._ends:
            due = next_deadline_ms(self.plan, self.state) if self.state.mode not in FINAL_MODES else None
            moments = [
                t for t in (due, self._ends[0][0] if self._ends else None) if t is not None and t <= until_ms
            ]
            if not moments:
                break
            now = max(min(moments), self.now_ms)
            if due is not None and due <= now:
                self._give(i.Tick(), now)
            while self._ends and self._ends[0][0] <= now:
                end, line, start = self._ends.pop(0)
                self._give(i.LineDone(line, start, end), now)
        self.now_ms = until_ms

    def _give(self, given: i.Input, now_ms: int | None = None) -> None:
        self.now_ms = self.now_ms if now_ms is None else now_ms
        facts = decide(self.plan, self.state, given, self.now_ms)
        for fact in facts:
            self.state = evolve(self.state, fact)
            if isinstance(fact, LineSpoken):
                start = max(self.now_ms + 60, self._voice_free_ms)
                self._voice_free_ms = start + 350 + len(fact.text) * _MS_PER_LETTER
                self._ends.append((self._voice_free_ms, fact.line, start))
        if facts:
            self._decided(facts, self.now_ms)

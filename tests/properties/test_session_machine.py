"""A walk through the core that hypothesis chooses and shrinks: any input at any time, the invariants after every fact."""

from __future__ import annotations

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from assistant.language import vocabulary as w
from assistant.session import allowed_words, fold, initial, inputs
from assistant.session.state import FINAL_MODES
from assistant.session.timing.ages import key
from assistant.session.view import view
from tests.session.invariants import same
from tests.session.rich_plan import rich_plan
from tests.session.walk import Walk

PLAN = rich_plan()
GAPS = st.sampled_from((0, 1, 999, 1_000, 5_000, 14_999, 15_000, 30_000, 60_000, 89_999, 90_000))


class Session(RuleBasedStateMachine):
    @initialize(patch=st.booleans(), voice=st.booleans())
    def begin(self, patch: bool, voice: bool) -> None:
        self.walk = Walk(PLAN, voice=voice, options=(("patch", patch),))

    @rule(gap=GAPS)
    def time_passes(self, gap: int) -> None:
        self.walk.after(gap)

    @precondition(lambda self: self.walk.mode not in FINAL_MODES)
    @rule(gap=st.sampled_from((2_000, 5_000, 8_000)), times=st.integers(1, 12))
    def as_asked(self, gap: int, times: int) -> None:
        for _ in range(times):
            if self.walk.mode not in FINAL_MODES:
                self.walk.cooperate(gap)

    @rule(word=st.sampled_from(sorted(w.ALL - {w.FIRE})), delay=GAPS, long=st.sampled_from((0, 400)),
          source=st.sampled_from(("voice", "keys", "board")))
    def says(self, word: str, delay: int, long: int, source: str) -> None:
        end = self.walk.now
        self.walk.after(min(delay, 1_000))
        self.walk.give(inputs.Word(word, max(0, end - long), end, source))

    @rule(text=st.sampled_from(("1", "2", "-40", "-61", "AB12", "2027-01-01", "2020-01-01", "")))
    def says_a_value(self, text: str) -> None:
        self.walk.give(inputs.Value(text))

    @rule(person=st.sampled_from(("Ada", "Ben", "")), statement=st.sampled_from(("seen", "")))
    def somebody_witnesses(self, person: str, statement: str) -> None:
        self.walk.give(inputs.Witness(person, statement))

    @rule(person=st.sampled_from(("Ada", "Cy")))
    def somebody_signs_in(self, person: str) -> None:
        self.walk.give(inputs.SignIn(person))

    @rule(gone=GAPS, why=st.sampled_from(("crash", "suspend")))
    def breaks_down(self, gone: int, why: str) -> None:
        self.walk.now += gone
        self.walk.give(inputs.Recover(gone, why))

    @rule(given=st.sampled_from((
        inputs.Misheard("noise"), inputs.Misheard("unsure", w.CONFIRM), inputs.Tick(), inputs.Lost("microphone"),
        inputs.Back("microphone"), inputs.ClockStep(-3_600_000), inputs.Gap(80, "dropped"), inputs.Begin("Bo"),
    )))
    def something_else(self, given: inputs.Input) -> None:
        self.walk.give(given)

    @rule()
    def lines_end(self) -> None:
        for line in sorted(self.walk.state.open_lines):
            self.walk.give(inputs.LineDone(line, self.walk.now, self.walk.now))

    @precondition(lambda self: self.walk.mode not in FINAL_MODES)
    @rule()
    def nothing_moves_by_itself(self) -> None:
        assert not [f for f in self.walk.give(inputs.Tick()) if type(f).__name__ == "StepConfirmed"]

    @invariant()
    def it_can_be_shown_keyed_and_answered(self) -> None:
        state = self.walk.state
        hash(key(PLAN, state))
        view(PLAN, state)
        assert state.mode in FINAL_MODES or allowed_words(PLAN, state) & {w.STOP, w.CANCEL}

    def teardown(self) -> None:
        if hasattr(self, "walk"):
            assert not same(fold(initial(PLAN), self.walk.facts), self.walk.state)


TestSession = Session.TestCase
TestSession.settings = settings(max_examples=60, stateful_step_count=40, deadline=None)

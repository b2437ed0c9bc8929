"""Walks every state of one run's answers: the pace run, its variations, then mishaps, one and two deep."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Hashable, Iterable, Iterator
from dataclasses import dataclass, field

from assistant.procedure.model.plan import Plan
from assistant.prover import naming
from assistant.prover.abstract import place, situation, state_key
from assistant.prover.bounds import Bounds
from assistant.prover.monitor import Monitor
from assistant.prover.moves import (
    PERSON,
    Move,
    answer_moves,
    depart_moves,
    moment_moves,
    pace_moves,
    real_moments,
)
from assistant.prover.requirements import Requirements
from assistant.prover.truth import Truth
from assistant.session.decide import decide
from assistant.session.evolve import fold
from assistant.session.initial import initial
from assistant.session.inputs import Begin, Input
from assistant.session.state import FINAL_MODES, State

Path = tuple[tuple[int, Input], ...]


@dataclass(frozen=True, slots=True)
class Refutation:
    """A broken property and the inputs that lead there, from the start."""

    prop: str
    text: str
    path: Path


@dataclass
class Result:
    """What one search found. `states` without those another part of the same search counts."""

    states: int = 0
    transitions: int = 0
    ends: dict[str, int] = field(default_factory=dict)
    refuted: Refutation | None = None
    cut: bool = False  # stopped before everything was visited
    places: int = 0


class _Refuted(Exception):
    def __init__(self, refutation: Refutation) -> None:
        super().__init__(refutation.prop)
        self.refutation = refutation


class Search:
    """One assignment of the start questions. `part` of `parts`: which share of the places mishaps are tried at."""

    def __init__(
        self, plan: Plan, need: Requirements, options: dict[str, bool], bounds: Bounds, *, part: int = 0,
        parts: int = 1, at_steps: frozenset[str] | None = None, progress: Callable[[int, int], None] | None = None,
        only: str = "",
    ) -> None:
        self.plan, self.need, self.options, self.bounds = plan, need, options, bounds
        self.part, self.parts, self.at_steps, self.only = part, parts, at_steps, only
        self.progress = progress
        self.monitor = Monitor(plan, need)
        self.mishaps = list(plan.mishaps)
        self.shapes = list(_shapes(plan))
        self.ids: dict[Hashable, int] = {}
        self.cores: dict[Hashable, int] = {}  # without what only a later correction asks
        self.closing = False  # no mishap, correction or crash comes after this one
        self.states: list[State | None] = []
        self.truths: list[Truth | None] = []
        self.lengths: list[int] = []
        self.parents: list[tuple[int, Move]] = []
        self.back: list[list[int]] = []  # edges backwards, without those of giving up
        self.final: list[int] = []
        self.finals: dict[int, State] = {}
        self.result = Result()
        self.asked: set[Hashable] = set()

    def run(self) -> Result:
        """Everything within the bounds. The first broken property ends it."""
        try:
            root = self._begin()
            self._explore([root], lambda s, t: pace_moves(self.plan, s, self.options), check_answers=False)
            self._pace_run()
            main = len(self.states)
            self._explore(range(main), self._answers)
            self._moments()
            main = len(self.states)
            fresh = 0 if self.part == 0 else main
            if self.bounds.depth:
                self._depart(main)
            self._can_finish()
            self.result.states = len(self.states) - fresh
        except _Refuted as refuted:
            self.result.refuted = refuted.refutation
            self.result.states = len(self.states)
        return self.result

    def nearest(self, shorter_than: int, most: int) -> Result:
        """All moves at once, nearest first, up to paths shorter than `shorter_than` and `most` transitions: the
        shortest way to break the property `only`, where there is a shorter one. `cut`: not all were tried."""
        try:
            heap = [(1, self._begin())]
            while heap:
                length, index = heapq.heappop(heap)
                state, truth = self._at(index)
                if state.mode in FINAL_MODES or length + 1 >= shorter_than:
                    continue
                if self.result.transitions > most:
                    self.result.cut = True
                    break
                for move in (*self._always(state, truth), *depart_moves(self.plan, state, self.mishaps, True)):
                    known = len(self.states)
                    if self._step(index, state, truth, move) == known:
                        heapq.heappush(heap, (self.lengths[known], known))
        except _Refuted as refuted:
            self.result.refuted = refuted.refutation
        return self.result

    # --- the graph ---

    def _begin(self) -> int:
        move = Move(0, Begin(PERSON, "script"))
        state = initial(self.plan)
        return self._step(-1, state, self.monitor.start(), move)

    def _step(self, index: int, state: State, truth: Truth, move: Move) -> int:
        """Take one move with the real core. Returns the node it leads to."""
        self.result.transitions += 1
        try:
            facts = decide(self.plan, state, move.given, move.at_ms)
            after = fold(state, facts)
        except Exception as error:  # whatever breaks in the core is a finding, not the prover's own failure
            self._refute("core_holds", f"the core breaks down: {type(error).__name__}: {error}", index, move)
            raise AssertionError("unreachable") from error
        seen, found = self.monitor.follow(truth, facts, after.now_ms)
        if move.kind != "pace":
            seen.departed = True
        for prop, text in found:
            self._refute(prop, text, index, move)
        core, tail = state_key(self.plan, after)
        core = (core, self.monitor.key(seen, after))
        key = (core, tail)
        # A question after a crash may still take a confirmation back; otherwise nothing will any more.
        node = self.cores.get(core) if self.closing and not after.questions else self.ids.get(key)
        if node is None:
            node = len(self.states)
            self.ids[key] = node
            self.cores.setdefault(core, node)
            self.states.append(after)
            self.truths.append(seen)
            self.lengths.append(self.lengths[index] + 1 if index >= 0 else 1)
            self.parents.append((index, move))
            self.back.append([])
            if after.mode in FINAL_MODES:
                self.final.append(node)
                self.finals[node] = after
                self.result.ends[after.mode] = self.result.ends.get(after.mode, 0) + 1
        if index >= 0 and not move.gives_up and node != index:
            self.back[node].append(index)
        return node

    def _at(self, index: int) -> tuple[State, Truth]:
        """What a node holds. Only asked of one that is kept."""
        state, truth = self.states[index], self.truths[index]
        assert state is not None and truth is not None
        return state, truth

    def _refute(self, prop: str, text: str, index: int, move: Move | None) -> None:
        if not self.only or prop == self.only:
            raise _Refuted(Refutation(prop, text, self.path(index, move)))

    def path(self, index: int, move: Move | None = None) -> Path:
        """The inputs from the start to a node, and one more."""
        found = [(move.at_ms, move.given)] if move else []
        while index >= 0:
            index, taken = self.parents[index]
            found.append((taken.at_ms, taken.given))
        return tuple(reversed(found))

    def _explore(
        self, roots: Iterable[int], moves: Callable[[State, Truth], Iterator[Move]], *, check_answers: bool = True,
        keep: Callable[[State], bool] = lambda state: True,
    ) -> list[int]:
        """Expand `roots` and all that is new behind them, nearest first. Returns the new nodes."""
        heap = [(self.lengths[n], n) for n in roots]
        heapq.heapify(heap)
        new: list[int] = []
        while heap:
            _, index = heapq.heappop(heap)
            state, truth = self._at(index)
            if state.mode in FINAL_MODES:
                continue
            leads_on = False
            for move in moves(state, truth):
                known = len(self.states)
                node = self._step(index, state, truth, move)
                leads_on = leads_on or node != index
                if node == known:
                    heapq.heappush(heap, (self.lengths[node], node))
                    new.append(node)
            if check_answers and not leads_on:
                where = naming.step(self.plan, state.current)
                self._refute("answerable", f"in mode {state.mode} nothing leads on from {where}", index, None)
            if not keep(state):
                self.states[index] = self.truths[index] = None
            if self.progress is not None and not len(self.states) % 500:
                self.progress(len(self.states), self.result.transitions)
            if len(self.states) > self.bounds.most_states:
                self.result.cut = True
                return new
        return new

    def _answers(self, state: State, truth: Truth) -> Iterator[Move]:
        yield from pace_moves(self.plan, state, self.options)
        yield from answer_moves(self.plan, state, truth.found_other or self._asked_before(state))

    def _asked_before(self, state: State) -> bool:
        """In large procedures a crash finds something other than it was left once for each situation."""
        if state.mode != "recover" or self.bounds.nested_steps:
            return False
        here = (situation(state), state.questions[:1])
        if here in self.asked:
            return True
        self.asked.add(here)
        return False

    def _always(self, state: State, truth: Truth) -> Iterator[Move]:
        yield from self._answers(state, truth)
        yield from self._off_pace(state, truth)

    def _off_pace(self, state: State, truth: Truth) -> Iterator[Move]:
        yield from moment_moves(self.plan, state)
        yield from real_moments(self.plan, state, self.monitor.moments(truth, state))

    def _moments(self) -> None:
        """Moments off the author's pace: without limit, or so many in one run."""
        if self.bounds.moments is None:
            self._explore(range(len(self.states)), self._always)
            return
        frontier = list(range(len(self.states)))
        for _ in range(self.bounds.moments):
            found: list[int] = []
            for index in frontier:
                state, truth = self._at(index)
                if state.mode in FINAL_MODES:
                    continue
                for move in self._off_pace(state, truth):
                    known = len(self.states)
                    if self._step(index, state, truth, move) == known:
                        found.append(known)
            frontier = found + self._explore(found, self._answers)

    def _pace_run(self) -> None:
        """At the author's own pace the run ends as complete, nothing dries, and every step is the site's own."""
        last = len(self.states) - 1
        state, truth = self._at(last)
        if state.mode != "complete":
            self._refute(
                "stands_alone", f"at the author's own pace the run doesn't end as complete but in mode {state.mode}",
                last, None,
            )
        if truth.departed:
            self._refute(
                "stands_alone", "at the author's own pace something dries, is late or has to be done again", last, None)

    # --- mishaps ---

    def _depart(self, main: int) -> None:
        heads = list(self._heads(range(main)))
        self.result.places = len(heads)
        new: list[int] = []
        keep = self._keep
        after = self._always if self.bounds.moments_after else self._answers
        self.closing = self.bounds.depth < 2
        for index in heads:
            state, truth = self._at(index)
            entered = self._enter(index, state, truth, self.mishaps, light=True)
            new += entered
            new += self._explore(entered, after, keep=keep)
            if self.result.cut:
                return
        if self.bounds.depth < 2:
            return
        self.closing = True
        seen: set[Hashable] = set()
        for index in new:
            if self.states[index] is None:
                continue
            state, truth = self._at(index)
            if state.mode in FINAL_MODES or not keep(state):
                continue
            if not self.bounds.deep:
                here = (situation(state), state.current if self.bounds.nested_steps else "", state.mode)
                if here in seen:
                    continue
                seen.add(here)
            entered = self._enter(index, state, truth, self.shapes, light=False)
            self._explore(entered, after, keep=lambda s: False)
            if self.result.cut:
                return

    def _keep(self, state: State) -> bool:
        """Whether a second mishap may be tried from here: inside a branch, or while a recovery asks."""
        return len(state.frames) > 1 or state.mode == "recover"

    def _enter(self, index: int, state: State, truth: Truth, mishaps: list[str], *, light: bool) -> list[int]:
        new = []
        for move in depart_moves(self.plan, state, mishaps, light):
            known = len(self.states)
            node = self._step(index, state, truth, move)
            if node == known:
                new.append(node)
        return new

    def _heads(self, nodes: Iterable[int]) -> Iterator[int]:
        """The places mishaps are tried at: this part's share of them."""
        seen: set[Hashable] = set()
        number = 0
        for index in nodes:
            state, _ = self._at(index)
            if state.mode in FINAL_MODES:
                continue
            if self.at_steps is not None and state.current not in self.at_steps:
                continue
            if not self.bounds.everywhere:
                here = (state.current, state.mode, place(self.plan, state))
                if here in seen:
                    continue
                seen.add(here)
            number += 1
            if number % self.parts == self.part:
                yield index

    # --- the end ---

    def _can_finish(self) -> None:
        """Backwards from the ends, over every edge but that of giving up."""
        reached = bytearray(len(self.states))
        stack = list(self.final)
        for node in stack:
            reached[node] = 1
        while stack:
            for before in self.back[stack.pop()]:
                if not reached[before]:
                    reached[before] = 1
                    stack.append(before)
        lost = [n for n in range(len(self.states)) if not reached[n]]
        if lost and not self.result.cut:
            nearest = min(lost, key=lambda n: self.lengths[n])
            self._refute("can_finish", "from here no end and no named safe stop can be reached", nearest, None)


def _shapes(plan: Plan) -> Iterator[str]:
    """One mishap of each shape. The core never reads a step's words, so mishaps that differ in nothing else
    behave alike; as the second one deep, one of each shape stands for its like."""
    seen: set[Hashable] = set()
    for mishap in plan.mishaps.values():
        broken = tuple(c.id for c in plan.cycles.values() if mishap.word in c.broken_by)
        shape = (
            tuple((s.kind, s.reach, s.policy, s.on_no, s.on_outside, s.requires, s.hands, s.opening) for s in mishap.steps),
            mishap.spoils, mishap.breaks_cycles, mishap.then, bool(mishap.asks_which), broken,
            mishap.word == "hand_over",
        )
        if shape not in seen:
            seen.add(shape)
            yield mishap.id

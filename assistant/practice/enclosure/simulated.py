"""The enclosure as it really is in practice: what is wet, dry, open, clean, and whether a claim about it is true.

Knows nothing of sessions. What the assistant believes is compared with this, never the other way round. Times are
milliseconds on the session's clock; chance comes from one seed.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

from assistant.practice.operator import understanding as u
from assistant.procedure.model.plan import PATCH, WET, Plan, Step

# A quiet, dry room: a surface stays wet a little longer than the site's entered figure, rarely shorter. Common
# practice, no source: sites enter the shortest time they measured.
WET_FACTOR_LOW, WET_FACTOR_HIGH = 1.02, 1.3
WIPE_CM2_S = 260.0  # a steady hand; the pace the site files assume
PURGE_TIME_CONSTANTS = math.log(1000.0)  # a purge is laid out to remove 99.9 % of what was in the air
PRESSURE_PART = 0.4  # where in the allowed span the needle stands


@dataclass(slots=True)
class Film:
    """One wetting of a surface. Part p (0 to 1) was wetted at `first_ms + p * (last_ms - first_ms)`; the film
    lasts `wet_ms` from there on. `since_ms`: from when the whole surface was wet without a break."""

    agent: str
    first_ms: int
    last_ms: int
    since_ms: int
    wet_ms: int
    covered: float = 1.0

    @property
    def dries_ms(self) -> int:
        """When its first part is dry."""
        return self.first_ms + self.wet_ms


@dataclass(slots=True)
class SurfaceNow:
    """`dirt`: 0 is clean; else the rank of what is on it. `done`: agent -> longest time it was wet all over."""

    dirt: int
    film: Film | None = None
    done: dict[str, int] = field(default_factory=dict)
    carried: int = 0  # dirt brought to it by a wipe used elsewhere


@dataclass(slots=True)
class CycleNow:
    started_ms: int
    due_ms: int
    broken: bool = False


class EnclosureSim:
    """`early`: surface ids that dry at half their time once ("early drying on cue"). `outside`: gauge readings lie
    outside their limits until reset. Seeded; the same calls give the same answers."""

    def __init__(self, plan: Plan, seed: int | str = 0, *, dry_chance: float = 0.0) -> None:
        self.plan = plan
        self.names = u.Names(plan)
        self._random = random.Random(f"enclosure:{seed}")
        self.dry_chance = dry_chance  # chance that a film lasts only half as long as the site's figure
        self.surfaces = {s.id: SurfaceNow(s.cleanliness) for s in plan.surfaces.values()}
        self.openings = {o.id: o.at_start for o in plan.openings.values()}
        self.cycles: dict[str, CycleNow] = {}
        self.machines = dict(plan.start_machines)
        self.hands = plan.start_hands
        self.wipe_dirt = 0  # dirtiest thing the wipe in hand has touched
        self.breaches: list[tuple[int, str]] = []  # (when, what) an interlock would have been broken
        self.early: set[str] = set()
        self.outside = False
        self.expired: set[str] = set()
        self._steps = {(s.surface, s.agent): s for s in plan.steps if s.kind == WET}
        self._patches = {(s.surface, s.agent): s for s in plan.steps if s.kind == PATCH}
        self.patch_dries_ms = 0  # when the patch wetted last has dried
        self._labels: dict[str, tuple[str, str]] = {}

    # What is done to it

    def duration_ms(self, action: u.Action) -> int:
        """How long a steady person takes for it."""
        if action.kind == u.WET:
            area = self.plan.surfaces[action.subject].area_cm2 or 2000
            return 2000 + round(area / WIPE_CM2_S * 1000)
        if action.kind == u.PATCH:
            return 3000
        if action.kind == u.HANDS:
            return 12_000
        if action.kind in (u.OPEN, u.CLOSE, u.START, u.SET):
            return 2500
        if action.kind in (u.READ, u.LOOK):
            return 1500 + 1500 * action.sentences
        return 3000 + 3000 * action.sentences

    def do(self, action: u.Action, began_ms: int, ended_ms: int, covered: float = 1.0) -> None:
        """Something was done from `began_ms` to `ended_ms`; `covered`: how much of it, 0 to 1."""
        self.settle(began_ms)
        if action.kind == u.WET:
            self._wet(action, began_ms, ended_ms, covered)
        elif action.kind == u.PATCH:  # too small to count for the surface
            patch = self._patches.get((action.subject, action.agent))
            self.patch_dries_ms = ended_ms + self._lasts(action.subject, patch)
        elif covered < 1.0:
            return  # a door half opened is as it was
        elif action.kind == u.OPEN:
            self._open(action.subject, ended_ms)
        elif action.kind == u.CLOSE:
            self.openings[action.subject] = "closed"
        elif action.kind == u.START:
            self._start(action.subject, ended_ms)
        elif action.kind == u.HANDS:
            self.hands = action.subject
        elif action.kind == u.SET:
            self._set(action.subject)

    def settle(self, now_ms: int) -> None:
        """Let films that are dry by now be dry; what they did stays."""
        for now in self.surfaces.values():
            film = now.film
            if film and film.dries_ms <= now_ms:
                self._credit(now, film, film.dries_ms)
                now.film = None

    def _wet(self, action: u.Action, began: int, ended: int, covered: float) -> None:
        now = self.surfaces[action.subject]
        step = self._step(action)
        if action.fresh:
            self.wipe_dirt = 0
        rank = self.plan.surfaces[action.subject].cleanliness
        if self.wipe_dirt > rank:
            now.carried = max(now.carried, self.wipe_dirt)
        self.wipe_dirt = max(self.wipe_dirt, now.dirt, now.carried)
        lasts = self._lasts(action.subject, step)
        old = now.film
        agent = action.agent or (old.agent if old else step.agent if step else "")
        if old and old.agent == agent and covered >= 1.0 and old.covered >= 1.0:
            # wet without a break only if no part had dried when it was reached again
            unbroken = max(began - old.first_ms, ended - old.last_ms) < old.wet_ms
            since = old.since_ms if unbroken else ended
            now.film = Film(agent, began, ended, since, lasts)
            return
        if old:
            self._credit(now, old, began)
        now.film = Film(agent, began, ended, ended, lasts, covered)

    def _step(self, action: u.Action) -> Step | None:
        if action.agent:
            found = self._steps.get((action.subject, action.agent))
            if found:
                return found
        film = self.surfaces[action.subject].film
        if film and (action.subject, film.agent) in self._steps:
            return self._steps[(action.subject, film.agent)]
        return next((s for (surface, _), s in self._steps.items() if surface == action.subject), None)

    def _lasts(self, surface: str, step: Step | None) -> int:
        usual = step.wet_ms if step and step.wet_ms else 180_000
        if surface in self.early:
            self.early.discard(surface)
            return usual // 2
        if self.dry_chance and self._random.random() < self.dry_chance:
            return usual // 2
        return round(usual * self._random.uniform(WET_FACTOR_LOW, WET_FACTOR_HIGH))

    def _credit(self, now: SurfaceNow, film: Film, until: int) -> None:
        """Book how long a film acted."""
        if film.covered < 1.0:
            return
        acted = min(until, film.dries_ms) - film.since_ms
        now.done[film.agent] = max(now.done.get(film.agent, 0), acted)

    def _open(self, opening: str, now_ms: int) -> None:
        for group in self.plan.interlocks:
            if opening in group and any(self.openings[o] == "open" for o in group - {opening}):
                self.breaches.append((now_ms, f"{opening} with another door open"))
        for cycle in self.plan.cycles.values():
            needs = any(c.kind == "cycle" and c.subject == cycle.id for c in self.plan.openings[opening].opens_when)
            if needs and not self.cycle_over(cycle.id, now_ms):
                self.breaches.append((now_ms, f"{opening} before {cycle.id} was over"))
            if opening in cycle.broken_by_openings and cycle.id in self.cycles:
                self.cycles[cycle.id].broken = True
        self.openings[opening] = "open"

    def _start(self, cycle: str, now_ms: int) -> None:
        self.cycles[cycle] = CycleNow(now_ms, now_ms + self.plan.cycles[cycle].duration_ms)

    def _set(self, text: str) -> None:
        low = text.lower()
        for machine in self.machines:
            if machine.replace("_", " ") in low:
                self.machines[machine] = low.rstrip(". ").rsplit(" to ", 1)[-1]

    def spoil(self, surface: str, dirt: int = 9) -> None:
        """Something fell, dripped or touched there: it is dirty again and what was on it doesn't act any more."""
        now = self.surfaces[surface]
        now.film, now.dirt = None, dirt
        now.done.clear()

    def break_cycles(self) -> None:
        """An alarm or a power cut: no air change of a running or finished cycle counts."""
        for run in self.cycles.values():
            run.broken = True

    # What is so

    def is_wet(self, surface: str, now_ms: int) -> bool:
        """The whole surface is wet now."""
        film = self.surfaces[surface].film
        return film is not None and film.covered >= 1.0 and film.last_ms <= now_ms < film.dries_ms

    def some_wet(self, surface: str, now_ms: int) -> float:
        """The part of it that is wet now, 0 to 1."""
        film = self.surfaces[surface].film
        if not film:
            return 0.0
        took = max(1, film.last_ms - film.first_ms)
        reached = min(1.0, max(0.0, (now_ms - film.first_ms) / took)) * film.covered
        dried = min(1.0, max(0.0, (now_ms - film.dries_ms) / took)) * film.covered
        return max(0.0, reached - dried)

    def acted_ms(self, surface: str, agent: str, now_ms: int) -> int:
        """The longest unbroken time it was wet all over with `agent`, up to now."""
        now = self.surfaces[surface]
        longest = now.done.get(agent, 0)
        film = now.film
        if film and film.agent == agent and film.covered >= 1.0:
            longest = max(longest, min(now_ms, film.dries_ms) - film.since_ms)
        return longest

    def cycle_over(self, cycle: str, now_ms: int) -> bool:
        """Run to its end and still good."""
        run = self.cycles.get(cycle)
        return run is not None and not run.broken and run.due_ms <= now_ms

    def air_left(self, cycle: str, now_ms: int) -> float:
        """The part of the room air's load still there, 1 at the start of the cycle: well-mixed dilution,
        exp(-air changes), laid out so that 0.001 is left at its end."""
        run = self.cycles.get(cycle)
        if run is None or run.broken:
            return 1.0
        whole = max(1, self.plan.cycles[cycle].duration_ms)
        return math.exp(-PURGE_TIME_CONSTANTS * min(1.0, max(0.0, (now_ms - run.started_ms) / whole)))

    def reading(self, low: str, high: str) -> str:
        """What a gauge with these limits shows now, as decimal text of the limits' own precision."""
        if not low and not high:
            return "1"
        a, b = float(low or high), float(high or low)
        places = max(len(t.partition(".")[2]) for t in (low, high))
        part = 1.6 if self.outside else PRESSURE_PART + self._random.uniform(-0.2, 0.2)
        value = a + (b - a) * part if a != b else a
        return f"{value:.{places}f}"

    def label(self, agent: str, today: str) -> tuple[str, str]:
        """(lot, expiry date) printed on the pack of an agent."""
        if agent not in self._labels:
            lot = self._lot()
            while lot in {other for other, _ in self._labels.values()}:
                lot = self._lot()  # two packs of one lot would look like a fault of the drill
            year = int((today or "2026-01-01")[:4])
            month = self._random.choice(("03-31", "06-30", "09-30", "11-30"))
            self._labels[agent] = (lot, f"{year + 1}-{month}")
        lot, expiry = self._labels[agent]
        if agent in self.expired:
            expiry = f"{int((today or '2026-01-01')[:4]) - 1}-{expiry[5:]}"
        return lot, expiry

    def _lot(self) -> str:
        letter = self._random.choice("BKRT")
        return letter + "".join(self._random.choice("1345678") for _ in range(3))

    def true(self, action: u.Action, now_ms: int) -> bool:
        """Whether "this is done" can be said of it now."""
        if action.kind == u.WET:
            film = self.surfaces[action.subject].film
            other = film is not None and action.agent and film.agent != action.agent
            return not other and self.is_wet(action.subject, now_ms)
        if action.kind == u.OPEN:
            return self.openings[action.subject] == "open"
        if action.kind == u.CLOSE:
            return self.openings[action.subject] == "closed"
        if action.kind == u.START:
            run = self.cycles.get(action.subject)
            return run is not None and not run.broken
        if action.kind == u.HANDS:
            return self.hands == action.subject
        return True

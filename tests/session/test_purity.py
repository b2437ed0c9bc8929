"""The core is a pure function: the same answer each time, nothing changed that was given, nothing read outside."""

from __future__ import annotations

import copy
import json
import subprocess
import sys
from dataclasses import fields

from assistant.language import vocabulary as w
from assistant.session import decide, evolve, fold, initial, inputs
from assistant.session.state import State
from tests.session.invariants import same
from tests.session.reach import REACH
from tests.session.rich_plan import rich_plan
from tests.session.walk import Walk


def _frozen_copy(state: State) -> dict[str, object]:
    return {f.name: copy.deepcopy(getattr(state, f.name)) for f in fields(State)}


def test_decide_gives_the_same_twice_and_changes_nothing_it_was_given():
    seen = 0
    for reach in REACH.values():
        walk = reach()
        walk.after(10)
        before = _frozen_copy(walk.state)
        for given in [inputs.Word(x) for x in sorted(w.ALL)] + [inputs.Tick(), inputs.Recover(9_000), inputs.Value("1")]:
            one = decide(walk.plan, walk.state, given, walk.now)
            assert one == decide(walk.plan, walk.state, given, walk.now)
            assert _frozen_copy(walk.state) == before
            seen += 1
    assert seen > 500


def test_evolve_never_changes_the_state_it_is_given():
    walk = Walk(rich_plan(), options=(("patch", True),))
    walk.finish()
    state = initial(walk.plan)
    for fact in walk.facts:
        before = _frozen_copy(state)
        new = evolve(state, fact)
        assert _frozen_copy(state) == before, fact
        state = new
    assert not same(state, walk.state)


def test_folding_the_facts_again_arrives_at_the_same_state():
    for mode, reach in REACH.items():
        walk = reach()
        assert not same(fold(initial(walk.plan), walk.facts), walk.state), mode


def test_importing_the_core_loads_no_clock_thread_or_sound():
    program = (
        "import sys, json; before = set(sys.modules); import transitions; between = set(sys.modules); "
        "import assistant.session; print(json.dumps(sorted(set(sys.modules) - between)))"
    )
    out = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, timeout=60)
    loaded = json.loads(out.stdout)
    assert "assistant.session.decide" in loaded
    odd = {"random", "threading", "sounddevice", "socket", "sqlite3", "subprocess", "vosk", "pocketsphinx"}
    assert not odd & set(loaded)

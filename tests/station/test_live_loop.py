"""The live loop with a clock moved by hand: devices lost and found, sleep, clock steps, drift. Nothing waits."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "session"))
sys.path.insert(0, str(Path(__file__).resolve().parent))
from fakes import BlockSource, ListWriter, TimedKeys
from small_plan import small_plan

from assistant.hearing.engines.recogniser import ENGINE_RESTARTED
from assistant.hearing.utterance import Utterance
from assistant.session import inputs
from assistant.speaking.fake_voice import FakeVoice
from assistant.speaking.player import Player
from assistant.speaking.silent_sink import SilentSink
from assistant.station.live.loop import LiveLoop
from assistant.station.loop.hand_clock import HandClock
from assistant.station.loop.keeper import SessionKeeper
from assistant.station.loop.mouth import Mouth


class _DeafListener:
    """Hears nothing; the loop's own behaviour is under test."""

    class gate:
        @staticmethod
        def cut(at_s: float) -> None:
            return None

    def set_active(self, words, expect=None) -> None:
        self.active = words

    def mute(self, start_s: float, end_s: float, text: str) -> None:
        return None

    def feed(self, pcm: bytes) -> list:
        return []


class _ClockedSink(SilentSink):
    """A silent sink whose clock is the hand-moved one."""

    def __init__(self, clock: HandClock) -> None:
        super().__init__()
        self.clock = clock

    def now_s(self) -> float:
        return self.clock.ms / 1000


def _loop(clock: HandClock, *timed, source: BlockSource | None = None, each=None) -> tuple[LiveLoop, ListWriter]:
    writer = ListWriter()
    keeper = SessionKeeper(small_plan(), writer, clock.wall)
    mouth = Mouth(Player(FakeVoice(), _ClockedSink(clock)), lambda *a: None, lambda t: None)
    loop = LiveLoop(
        keeper, clock, mouth, listener=_DeafListener(), source=source, keys=TimedKeys(clock, *timed), on_tick=each,
    )
    return loop, writer


_STOP = ((300_000, inputs.Word("stop", source="keys")), (310_000, inputs.Word("confirm", source="keys")))


def _begin() -> inputs.Begin:
    return inputs.Begin("Ada", "live", True)


def test_keys_alone_carry_a_session_to_a_safe_stop() -> None:
    clock = HandClock()
    loop, writer = _loop(clock, *_STOP)
    loop.run(_begin())
    assert loop.keeper.state.verdict == "stopped"
    assert "line_ended" in writer.kinds


def test_an_unplugged_microphone_is_announced_recorded_and_found_again() -> None:
    clock = HandClock()
    source = BlockSource(clock)

    def each(now: int) -> None:
        source.plugged = not 60_000 <= now < 90_000

    loop, writer = _loop(clock, *_STOP, source=source, each=each)
    loop.run(_begin())
    kinds = writer.kinds
    assert kinds.count("device_lost") == 1 and kinds.count("device_back") == 1
    said = [f["data"]["text"] for b in writer.batches for f in b if f["kind"] == "line_spoken"]
    assert any("can't hear you" in text and "keys" in text for text in said)


def test_a_speech_engine_that_stops_is_told_of_with_the_other_way_in_and_is_nobodys_failure_to_speak() -> None:
    clock = HandClock()
    loop, writer = _loop(clock, *_STOP, source=BlockSource(clock))
    lost = Utterance(10.0, 10.5, 10.8, None, None, "", False, "not understood", 0.0, scores={ENGINE_RESTARTED: 1.0})
    loop.listener.feed = lambda pcm, found=[lost]: [found.pop()] if found and clock.ms > 12_000 else []
    loop.run(_begin())
    facts = [f for b in writer.batches for f in b]
    kinds = [f["kind"] for f in facts]
    assert kinds.count("device_lost") == 1 == kinds.count("device_back")
    said = [f["data"]["text"] for f in facts if f["kind"] == "line_spoken"]
    assert "Listening broke off. Use the foot switch or the keys." in said
    assert not any("didn't understand" in text for text in said)


def test_audio_position_never_ends_a_wait() -> None:
    """A source that runs ten times too fast brings no deadline closer."""
    clock = HandClock()
    source = BlockSource(clock)
    source.speed = 10.0
    confirm = inputs.Word("confirm", source="keys")
    timed = [(20_000, confirm), (40_000, confirm), (130_000, inputs.Word("stop", source="keys")), (140_000, confirm)]
    loop, writer = _loop(clock, *timed, source=source)
    loop.run(_begin())
    done = [(f, b) for b in writer.batches for f in b if f["kind"] == "contact_completed"]
    started = [f for b in writer.batches for f in b if f["kind"] == "contact_started"]
    assert started and done
    assert done[0][0]["data"]["due_ms"] - started[0]["data"]["wet_since_ms"] == 60_000
    assert "sound_gap" in writer.kinds  # the drift itself is a fact


def test_lost_blocks_and_clock_steps_are_facts() -> None:
    clock = HandClock()
    source = BlockSource(clock)
    done = set()

    def each(now: int) -> None:
        if now > 30_000 and "drop" not in done:
            done.add("drop")
            source.drops, clock.step_ms = 3, 3_600_000

    loop, writer = _loop(clock, *_STOP, source=source, each=each)
    loop.run(_begin())
    assert "sound_gap" in writer.kinds and "clock_stepped" in writer.kinds


def test_after_sleep_nothing_that_needed_watching_counts() -> None:
    clock = HandClock()
    confirm = inputs.Word("confirm", source="keys")
    slept = []

    def each(now: int) -> None:
        if now > 45_000 and not slept:
            slept.append(now)
            clock.asleep_ms = 900_000

    timed = [(20_000, confirm), (40_000, confirm), (200_000, inputs.Word("stop", source="keys")), (210_000, confirm)]
    loop, writer = _loop(clock, *timed, each=each)
    loop.run(_begin())
    assert "recovered" in writer.kinds
    assert "contact_completed" not in writer.kinds
    assert "step_owed" in writer.kinds

"""Devices that hang, vanish and come back: the disk, the microphone, the headset; and the check before the start."""

from __future__ import annotations

import threading
from types import SimpleNamespace

import numpy as np
import pytest

from assistant.errors import RefusedError, SoundDeviceError
from assistant.hearing.engines.fake import FakeEngine
from assistant.hearing.listener import Listener
from assistant.hearing.vocabulary.packs import load_pack
from assistant.record.storage.store import SlowStorageError
from assistant.speaking.fake_voice import FakeVoice
from assistant.speaking.player import Player
from assistant.station.live.disk_watch import DiskWatch
from assistant.station.live.level_check import ASKED, check_hearing
from assistant.station.live.microphone import Microphone
from assistant.station.live.speaker import Speaker
from assistant.station.loop.hand_clock import HandClock
from tests.station.live_fakes import ClockedSink


class _HangingWriter:
    """A write that hangs until it is let go; then it says how long it took."""

    def __init__(self, slow: bool = True) -> None:
        self.started_at_s: float | None = None
        self.let_go = threading.Event()
        self.slow = slow

    def append(self, facts, t_ms, wall):
        self.started_at_s = 0.0
        assert self.let_go.wait(30)
        self.started_at_s = None
        if self.slow:
            error = SlowStorageError(5.0)
            error.refs = ["written"]
            raise error
        return ["written"]


def test_a_disk_that_hangs_is_sounded_while_it_hangs_and_once() -> None:
    writer, sounded = _HangingWriter(), []

    def warn() -> None:
        sounded.append("failure line")
        writer.let_go.set()  # only the warning ends the hang: without it, the test would fail

    watch = DiskWatch(writer, warn, clock=lambda: 1.5)
    try:
        assert watch.append([], 0, "w") == ["written"]
    finally:
        watch.close()
    assert sounded == ["failure line"]


def test_a_quick_disk_is_never_sounded() -> None:
    writer, sounded = _HangingWriter(slow=False), []
    writer.let_go.set()
    watch = DiskWatch(writer, lambda: sounded.append("x"), clock=lambda: 0.9)
    watch.append([], 0, "w")
    watch.check()
    watch.close()
    assert sounded == []


def test_a_slow_write_that_the_watch_missed_is_sounded_afterwards() -> None:
    writer, sounded = _HangingWriter(), []
    writer.let_go.set()
    watch = DiskWatch(writer, lambda: sounded.append("x"), clock=lambda: 0.0)
    assert watch.append([], 0, "w") == ["written"]
    watch.close()
    assert sounded == ["x"]


class _Device:
    """Shaped like a HeadsetSource."""

    def __init__(self, blocks: list[bytes]) -> None:
        self.blocks, self.overflows, self.dropped_blocks = blocks, 0, 0
        self.name, self.latency_s, self.closed = "microphone 1", 0.02, False

    def next_block(self, timeout_s: float) -> bytes | None:
        return self.blocks.pop(0) if self.blocks else None

    def close(self) -> None:
        self.closed = True


def test_a_silent_microphone_is_lost_after_a_second_and_found_again() -> None:
    clock = HandClock()
    first, second = _Device([b"ab"]), _Device([b"cd"])
    opened = iter([first, SoundDeviceError("gone"), _Device([]), second])

    def open_device():
        found = next(opened)
        if isinstance(found, Exception):
            raise found
        return found

    mic = Microphone(open_device, clock=lambda: clock.ms / 1000)
    assert mic.read(0.05) == b"ab" and not mic.lost()
    clock.ms += 1_100
    assert mic.read(0.05) is None and mic.lost()
    assert not mic.reopen() and first.closed  # can't be opened
    assert not mic.reopen()  # opens, but gives nothing
    assert mic.reopen() and not mic.lost()


def test_lost_blocks_are_told_once() -> None:
    device = _Device([])
    mic = Microphone(lambda: device)
    device.overflows, device.dropped_blocks = 2, 1
    assert (mic.dropped(), mic.dropped()) == (3, 0)


def test_what_no_headset_takes_counts_as_interrupted_and_a_new_one_is_looked_for() -> None:
    clock = HandClock()

    class Sink(ClockedSink):
        gone = False

        def lost(self) -> bool:
            return self.gone

        def play(self, samples, rate_hz, start_s=None):
            if self.gone:
                raise SoundDeviceError("The headset is gone.")
            return super().play(samples, rate_hz, start_s)

    first, second = Sink(lambda: clock), Sink(lambda: clock)
    opened = iter([first, second])
    speaker = Speaker(lambda: next(opened), clock=lambda: clock.ms / 1000)
    sound = np.zeros(1600, dtype=np.int16)
    assert not speaker.play(sound, 16_000).interrupted and not speaker.lost()
    first.gone = True
    handle = speaker.play(sound, 16_000)
    assert handle.interrupted and handle.done()
    assert speaker.lost()
    clock.ms += 1_500
    assert not speaker.lost() and not speaker.play(sound, 16_000).interrupted


class _Speaking:
    """A microphone in whose sound somebody speaks, over a little noise, whenever the assistant is silent."""

    def __init__(self, clock: HandClock, loud: float, noise: float = 20.0) -> None:
        self.clock, self.loud, self.noise = clock, loud, noise
        self._random = np.random.default_rng(1)
        self._at = 0

    def read(self, timeout_s: float) -> bytes:
        self.clock.sleep(timeout_s)
        n = round(timeout_s * 16_000)
        t = np.arange(self._at, self._at + n) / 16_000
        self._at += n
        talking = (t % 1.6 > 0.9) & (t % 1.6 < 1.4)
        voice = self.loud * talking * np.sign(np.sin(2 * np.pi * 140 * t)) * (1 + 0.5 * np.sin(2 * np.pi * 700 * t))
        return (voice + self._random.normal(0, self.noise, n)).clip(-32000, 32000).astype(np.int16).tobytes()


def _check(loud: float, texts: list[str], *, keys: bool) -> tuple[dict, list[str]]:
    clock, shown = HandClock(), []
    listener = Listener(FakeEngine(texts), load_pack("en"), latency_s=0.0)
    player = Player(FakeVoice(), ClockedSink(lambda: clock))
    found = check_hearing(listener, _Speaking(clock, loud), player, other_way_in=keys, say=shown.append)
    return found, shown


def test_clear_words_pass_the_check_and_are_kept_for_the_record() -> None:
    pack = load_pack("en")
    found, shown = _check(3_000.0, [pack.say[word][0] for word in ASKED], keys=False)
    assert (found["verdict"], found["heard"], found["asked"]) == ("go", 3, 3)
    assert found["snr_db"] > 15 and any("Level check: go" in text for text in shown)


def test_a_dead_microphone_refuses_the_start_unless_there_is_another_way_in() -> None:
    with pytest.raises(RefusedError, match="--keys"):
        _check(0.0, [], keys=False)
    found, shown = _check(0.0, [], keys=True)
    assert found["heard"] == 0 and "foot switch" in found["verdict"]
    assert shown[-1].strip()


def test_words_that_arent_understood_refuse_the_start() -> None:
    with pytest.raises(RefusedError, match="words were understood"):
        _check(3_000.0, ["gibberish"] * 9, keys=False)


def test_the_real_headset_classes_have_what_the_wrappers_ask_for() -> None:
    from assistant.hearing.sound.headset import HeadsetSource
    from assistant.speaking.headset_sink import HeadsetSink

    for cls, names in ((HeadsetSource, ("next_block", "close", "latency_s")), (HeadsetSink, ("play", "lost", "close", "now_s"))):
        assert all(hasattr(cls, name) for name in names)
    library = SimpleNamespace(PortAudioError=OSError, RawInputStream=lambda **k: SimpleNamespace(
        start=lambda: None, abort=lambda: None, close=lambda: None, latency=0.03))
    mic = Microphone(lambda: HeadsetSource(library=library))
    assert mic.describe()["latency_ms"] == 30 and mic.dropped() == 0
    mic.close()

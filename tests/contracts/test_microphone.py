"""One suite for every microphone of the live loop: the real one on a stand-in for PortAudio, and the tests' own. What
only a sound card shows (latency, what it sends when it is pulled out) is untested here."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from assistant.hearing.sound.headset import HeadsetSource
from assistant.station.live.loop import Source
from assistant.station.live.microphone import Microphone
from assistant.station.loop.hand_clock import HandClock
from tests.station.fakes import BlockSource


class FakeInput:
    """A stand-in for the sounddevice module: it gives a block whenever `sound` is called, and can be pulled out."""

    def __init__(self) -> None:
        self.plugged = True
        self.take: Any = None
        self.block = b""

    def query_devices(self, device: object, kind: str) -> dict[str, float]:
        return {"default_samplerate": 16_000.0}

    def RawInputStream(self, *, blocksize: int, callback: Any, **_more: object) -> SimpleNamespace:
        if not self.plugged:
            raise OSError("no device")
        self.take, self.block = callback, bytes(2 * blocksize)
        return SimpleNamespace(latency=0.01, start=self.sound, abort=lambda: None, close=lambda: None)

    def sound(self, overflow: bool = False) -> None:
        if self.plugged:
            self.take(self.block, len(self.block) // 2, None, SimpleNamespace(input_overflow=overflow))


class Bench:
    """A microphone, its plug, and time."""

    def __init__(self, kind: str) -> None:
        self.kind = kind
        self.clock = HandClock()
        self.source: Source
        if kind == "headset":
            self.audio = FakeInput()
            self.source = Microphone(lambda: HeadsetSource(library=self.audio), lambda: self.clock.ms / 1000)
        else:
            self.fake = BlockSource(self.clock)
            self.source = self.fake

    def plug(self, plugged: bool) -> None:
        (self.audio if self.kind == "headset" else self.fake).plugged = plugged

    def read(self) -> bytes | None:
        """What a tenth of a second gives."""
        if self.kind == "headset":
            self.audio.sound()
            self.clock.ms += 100
            return self.source.read(0.0)
        return self.source.read(0.1)

    def drop(self, blocks: int) -> None:
        if self.kind != "headset":
            self.fake.drops += blocks
            return
        for _ in range(blocks):
            self.audio.sound(overflow=True)


@pytest.fixture(params=["headset", "fake"])
def bench(request: pytest.FixtureRequest) -> Bench:
    return Bench(request.param)


def test_sound_comes_in_blocks_of_whole_samples_and_it_is_not_lost(bench: Bench) -> None:
    blocks = [bench.read() for _ in range(30)]
    assert all(isinstance(block, bytes) and len(block) == 3200 for block in blocks)  # 0.1 s of 16 kHz int16
    assert not bench.source.lost()


def test_pulled_out_it_gives_nothing_and_is_lost_within_two_seconds(bench: Bench) -> None:
    bench.read()
    bench.plug(False)
    heard = [bench.read() for _ in range(20)]
    assert heard[-1] is None and bench.source.lost()
    assert not bench.source.reopen()
    assert bench.source.lost()


def test_plugged_in_again_it_is_found_and_sound_comes(bench: Bench) -> None:
    bench.plug(False)
    for _ in range(20):
        bench.read()
    bench.plug(True)
    assert bench.source.reopen() and not bench.source.lost()
    assert bench.read()


def test_what_was_dropped_is_told_once(bench: Bench) -> None:
    bench.read()
    assert bench.source.dropped() == 0
    bench.drop(3)
    assert (bench.source.dropped(), bench.source.dropped()) == (3, 0)
    bench.drop(1)
    assert bench.source.dropped() == 1


def test_it_can_be_let_go_twice(bench: Bench) -> None:
    bench.source.close()
    bench.source.close()

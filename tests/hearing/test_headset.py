"""A microphone that refuses, stalls, vanishes, or answers late. PortAudio is stood in for: none of these happen to order."""

from __future__ import annotations

import threading
from types import SimpleNamespace

import numpy as np
import pytest

from assistant.errors import SoundDeviceError
from assistant.hearing.sound.headset import HeadsetLost, HeadsetSource

BLOCK = np.arange(1600, dtype="<i2").tobytes()


class Library:
    """As much of sounddevice as a microphone needs. `refuses`: rates it won't open at. `hangs`: "open" or "close"."""

    class PortAudioError(Exception):
        pass

    def __init__(self, *, refuses: tuple[int, ...] = (), own_rate_hz: int = 48_000, hangs: str = "", gone: bool = False) -> None:
        self.refuses, self.own_rate_hz, self.hangs, self.gone = refuses, own_rate_hz, hangs, gone
        self.never = threading.Event()
        self.rate_hz = 0

    def query_devices(self, device, kind):
        if self.gone:
            raise ValueError("no such device")
        return {"default_samplerate": float(self.own_rate_hz)}

    def RawInputStream(self, *, samplerate, channels, dtype, blocksize, device, callback):
        if self.hangs == "open":
            self.never.wait(20)
        if self.gone or samplerate in self.refuses:
            raise self.PortAudioError("Invalid sample rate" if not self.gone else "Device unavailable")
        self.rate_hz, self.blocksize, self.take = samplerate, blocksize, callback

        def close() -> None:
            if self.hangs == "close":
                self.never.wait(20)
            if self.hangs == "raise":
                raise self.PortAudioError("Device unplugged")

        return SimpleNamespace(start=lambda: None, abort=close, close=lambda: None, latency=0.03)

    def give(self, pcm: bytes, overflow: bool = False) -> None:
        self.take(pcm, len(pcm) // 2, None, SimpleNamespace(input_overflow=overflow) if overflow else None)


@pytest.fixture(autouse=True)
def soon_silent(monkeypatch):
    monkeypatch.setattr("assistant.hearing.sound.headset.SILENT_FOR_S", 0.05)


def test_blocks_come_out_as_they_went_in():
    library = Library()
    source = HeadsetSource(library=library)
    library.give(BLOCK)
    assert next(source.blocks()) == BLOCK and (library.rate_hz, library.blocksize) == (16_000, 1600)


@pytest.mark.parametrize("own", [44_100, 48_000, 8_000])
def test_a_device_that_refuses_16_khz_is_heard_at_its_own_rate(own):
    library = Library(refuses=(16_000,), own_rate_hz=own)
    source = HeadsetSource(library=library)
    assert source.rate_hz == own and library.blocksize == own // 10
    tone = (8000 * np.sin(2 * np.pi * 440 * np.arange(own * 2) / own)).astype("<i2")
    for at in range(0, len(tone), library.blocksize):
        library.give(tone[at:at + library.blocksize].tobytes())
    heard = []
    while (block := source.next_block(0.05)) is not None:
        heard.append(np.frombuffer(block, dtype="<i2"))
    samples = np.concatenate(heard).astype(float)
    assert 1.9 * 16_000 < len(samples) <= 2 * 16_000
    spectrum = np.abs(np.fft.rfft(samples[8000:24_000] * np.hanning(16_000)))
    assert abs(int(spectrum.argmax()) - 440) <= 1            # one bin is one hertz
    assert 7000 < np.abs(samples[8000:24_000]).max() < 9000


def test_one_that_refuses_every_rate_says_what_to_try():
    with pytest.raises(SoundDeviceError, match="can't be opened: Invalid sample rate") as caught:
        HeadsetSource(7, library=Library(refuses=(16_000, 48_000)))
    assert caught.value.exit_code == 3 and "assistant devices" in caught.value.try_next and "7" in caught.value.where
    with pytest.raises(SoundDeviceError, match="Device unavailable"):
        HeadsetSource(library=Library(gone=True))


def test_a_driver_that_hangs_while_opening_is_no_hang_of_ours():
    library = Library(hangs="open")
    with pytest.raises(SoundDeviceError, match="doesn't answer"):
        HeadsetSource(library=library, answer_s=0.05)
    library.never.set()


@pytest.mark.parametrize("hangs", ["close", "raise"])
def test_a_device_pulled_out_can_be_let_go_though_the_driver_hangs_or_complains(hangs):
    library = Library(hangs=hangs)
    source = HeadsetSource(library=library, answer_s=0.05)
    source.close()
    source.close()
    assert list(source.blocks()) == []
    library.never.set()


def test_no_sound_for_a_while_is_a_lost_microphone():
    library = Library()
    source = HeadsetSource(library=library)
    library.give(BLOCK)
    blocks = source.blocks()
    assert next(blocks) == BLOCK
    with pytest.raises(HeadsetLost, match="gone silent") as caught:
        next(blocks)
    assert "keys" in caught.value.try_next
    assert source.next_block(0.01) is None


def test_what_the_system_or_a_slow_reader_loses_is_counted_and_the_oldest_sound_is_kept():
    library = Library()
    source = HeadsetSource(library=library, most_blocks=2)
    for k in range(5):
        library.give(bytes([k]) * 3200, overflow=k == 1)
    assert (source.overflows, source.dropped_blocks) == (1, 3)
    assert [source.next_block(0.01)[0] for _ in range(2)] == [0, 1]


def test_the_words_drill_listens_through_the_same_microphone(monkeypatch):
    from assistant.practice.trainee.microphone_drill import microphone_speaker

    library = Library()
    monkeypatch.setattr("assistant.hearing.sound.headset._library", lambda: library)
    speak, louder = microphone_speaker(lambda text: None, listen_s=0.2)
    for _ in range(4):
        library.give(BLOCK)
    assert len(speak("repeat")) == 3200 and len(louder("repeat")) == 3200

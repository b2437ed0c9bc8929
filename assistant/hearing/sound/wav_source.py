"""Sound from a file: WAV or FLAC, looked through whole before a sample of it is believed, then read piece by piece, so
that a file of a whole day needs no more memory than one of a second."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from assistant.errors import SoundFileError
from assistant.hearing.sound.frames import RATE_HZ
from assistant.hearing.sound.source import BLOCK_SAMPLES

_PIECE = 1 << 16
SILENT = 1.5 / 32768        # a side that never exceeds this gives no sound at all
FAR_BELOW_DB = 20.0         # a side this far below the loudest holds nothing but what leaks into it
CANCELS_DB = 10.0           # a mixture this far below its sides: they are the same sound, turned round
_SIDES = {2: ("left", "right")}


class WavSource:
    """A recording as blocks. `convert`: bring to one channel at 16 kHz instead of refusing other formats.

    `notes` says in plain words what was done about dead or opposed channels. Raises SoundFileError for a file that is
    missing, no sound, empty, cut short, or (unless converted) not 16 kHz mono.
    """

    def __init__(self, path: str | Path, *, convert: bool = False, block_samples: int = BLOCK_SAMPLES) -> None:
        self.name = str(path)
        self._path = Path(path)
        self._block = block_samples
        self._looked = _look_through(self._path)
        look = self._looked
        if not convert and (look.rate_hz, look.channels) != (RATE_HZ, 1):
            raise SoundFileError(f"The sound has {look.rate_hz} Hz and {_counted(look)}.", where=self.name,
                                 expected="16000 Hz, one channel", try_next="use --convert, or convert the file")
        self._channels, self.notes = _worth_hearing(look)
        self._closed = False

    @property
    def seconds(self) -> float:
        return self._looked.frames / self._looked.rate_hz

    def blocks(self) -> Iterator[bytes]:
        size, held = self._block * 2, b""
        for part in self._parts():
            held += part
            whole = len(held) - len(held) % size
            for at in range(0, whole, size):
                if self._closed:
                    return
                yield held[at:at + size]
            held = held[whole:]
        if held and not self._closed:
            yield held

    def _parts(self) -> Iterator[bytes]:
        import soxr

        rate = self._looked.rate_hz
        other_rate = soxr.ResampleStream(rate, RATE_HZ, 1, dtype="float32") if rate != RATE_HZ else None
        left = self._looked.frames
        for samples in _pieces(self._path):
            left -= len(samples)
            mono = samples[:, self._channels].mean(axis=1)
            if other_rate is not None:
                mono = other_rate.resample_chunk(mono, last=left <= 0)
            yield np.clip(np.rint(mono * 32768.0), -32768, 32767).astype("<i2").tobytes()

    def close(self) -> None:
        self._closed = True


def read_pcm(path: str | Path, *, convert: bool = False) -> bytes:
    """A sound file as 16 kHz mono int16 PCM. See WavSource for what is refused."""
    return b"".join(WavSource(path, convert=convert).blocks())


@dataclass(frozen=True)
class _Look:
    """What the whole file is. Peaks and mean squares of full scale, one a channel; `mixed`: mean square of their mean."""

    rate_hz: int
    channels: int
    frames: int
    peaks: tuple[float, ...]
    powers: tuple[float, ...]
    mixed: float


def _look_through(path: Path) -> _Look:
    import soundfile

    where = str(path)
    if not path.exists():
        raise SoundFileError("There is no such file.", where=where, try_next="check the path")
    if path.is_dir():
        raise SoundFileError("This is a folder, not a sound file.", where=where, try_next="name the files in it")
    try:
        with soundfile.SoundFile(path) as file:
            rate, channels, expected = file.samplerate, file.channels, file.frames
    except soundfile.LibsndfileError as error:
        raise SoundFileError("This isn't a sound file that can be read.", where=where, expected="WAV or FLAC",
                             try_next=f"play it in another program first ({error.error_string})") from error
    except OSError as error:
        raise SoundFileError(f"The file can't be read: {error.strerror}.", where=where, try_next="check its permissions") from error
    frames, mixed = 0, 0.0
    peaks, squares = np.zeros(channels), np.zeros(channels)
    try:
        for samples in _pieces(path):
            if not np.isfinite(samples).all():
                raise SoundFileError("The sound file holds values that aren't numbers.", where=where, try_next="write it again")
            frames += len(samples)
            peaks = np.maximum(peaks, np.abs(samples).max(axis=0))
            squares += (samples.astype(np.float64) ** 2).sum(axis=0)
            mixed += float((samples.mean(axis=1, dtype=np.float64) ** 2).sum())
    except soundfile.LibsndfileError as error:
        raise SoundFileError("The sound file is damaged, or ends before its header says.", where=where,
                             try_next=f"record or copy it again ({error.error_string})") from error
    if frames == 0:
        raise SoundFileError("The sound file is empty.", where=where, try_next="record it again")
    if frames < expected or _wav_cut_short(path):
        raise SoundFileError("The sound file ends before its header says.", where=where, try_next="record or copy it again")
    return _Look(rate, channels, frames, tuple(peaks), tuple(squares / frames), mixed / frames)


def _pieces(path: Path) -> Iterator[np.ndarray]:
    """(n, channels) float32, in order."""
    import soundfile

    with soundfile.SoundFile(path) as file:
        while len(samples := file.read(_PIECE, dtype="float32", always_2d=True)):
            yield samples


def _counted(look: _Look) -> str:
    dead = [k for k, peak in enumerate(look.peaks) if peak <= SILENT]
    text = f"{look.channels} channel{'s' * (look.channels != 1)}"
    if dead and len(dead) < look.channels:
        text += f", {_named(look, dead)} of them without any sound"
    return text


def _named(look: _Look, which: list[int]) -> str:
    names = _SIDES.get(look.channels) or tuple(f"number {k + 1}" for k in range(look.channels))
    return "the " + " and ".join(names[k] for k in which)


def _worth_hearing(look: _Look) -> tuple[list[int], list[str]]:
    """Which channels are mixed, and what is to be told about the others. A mean over a dead side would halve the voice,
    one over two opposed sides would lose it."""
    every = list(range(look.channels))
    live = [k for k in every if look.peaks[k] > SILENT]
    if look.channels == 1 or not live:
        return every, []
    notes = []
    if len(live) < look.channels:
        dead = [k for k in every if k not in live]
        notes.append(f"No sound at all from {_named(look, dead)} channel{'s' * (len(dead) > 1)}; {_named(look, live)} is heard.")
    loudest = max(live, key=lambda k: look.powers[k])
    near = [k for k in live if look.powers[k] > look.powers[loudest] / 10 ** (FAR_BELOW_DB / 10)]
    if len(near) < len(live):
        notes.append(f"Next to nothing from {_named(look, [k for k in live if k not in near])}; {_named(look, near)} is heard.")
    elif len(live) == look.channels and look.mixed < look.powers[loudest] / 10 ** (CANCELS_DB / 10):
        notes.append(f"The channels cancel each other out; only {_named(look, [loudest])} one is heard. Look at the cable's wiring.")
        near = [loudest]
    return near, notes


def _wav_cut_short(path: Path) -> bool:
    """Whether a RIFF file is shorter than its header says: the library reads on without a word."""
    with open(path, "rb") as file:
        head = file.read(12)
        size = path.stat().st_size
    if head[:4] != b"RIFF" or head[8:12] != b"WAVE":
        return False
    stated = int.from_bytes(head[4:8], "little")
    return stated not in (0, 0xFFFFFFFF) and stated + 8 > size + 1   # recorders that stream write 0 or all ones

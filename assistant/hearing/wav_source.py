"""Sound from a file: WAV or FLAC, checked before a sample of it is believed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from assistant.errors import SoundFileError

from .frames import RATE_HZ
from .source import BLOCK_SAMPLES


class WavSource:
    """A recording as blocks. `convert`: mix to mono and bring to 16 kHz instead of refusing other formats.

    Raises SoundFileError for a file that is missing, no sound, empty, cut short, or (unless converted) not 16 kHz mono.
    """

    def __init__(self, path: str | Path, *, convert: bool = False, block_samples: int = BLOCK_SAMPLES) -> None:
        self.name = str(path)
        self._block = block_samples
        self._pcm = read_pcm(path, convert=convert)

    @property
    def seconds(self) -> float:
        return len(self._pcm) / 2 / RATE_HZ

    def blocks(self) -> Iterator[bytes]:
        size = self._block * 2
        for at in range(0, len(self._pcm), size):
            yield self._pcm[at:at + size]

    def close(self) -> None:
        self._pcm = b""


def read_pcm(path: str | Path, *, convert: bool = False) -> bytes:
    """A sound file as 16 kHz mono int16 PCM. See WavSource for what is refused."""
    import soundfile

    where = str(path)
    if not Path(path).exists():
        raise SoundFileError("There is no such file.", where=where, try_next="check the path")
    if Path(path).is_dir():
        raise SoundFileError("This is a folder, not a sound file.", where=where, try_next="name the files in it")
    try:
        with soundfile.SoundFile(path) as file:
            rate, channels, expected = file.samplerate, file.channels, file.frames
            if not convert and (rate, channels) != (RATE_HZ, 1):
                raise SoundFileError(f"The sound has {rate} Hz and {channels} channel{'s' * (channels != 1)}.", where=where,
                                     expected="16000 Hz, one channel", try_next="use --convert, or convert the file")
            samples = file.read(dtype="float32", always_2d=True)
    except soundfile.LibsndfileError as error:
        raise SoundFileError("This isn't a sound file that can be read.", where=where, expected="WAV or FLAC",
                             try_next=f"play it in another program first ({error.error_string})") from error
    if len(samples) == 0:
        raise SoundFileError("The sound file is empty.", where=where, try_next="record it again")
    if len(samples) < expected or _wav_cut_short(path):
        raise SoundFileError("The sound file ends before its header says.", where=where, try_next="record or copy it again")
    if not np.isfinite(samples).all():
        raise SoundFileError("The sound file holds values that aren't numbers.", where=where, try_next="write it again")
    mono = samples.mean(axis=1)
    if rate != RATE_HZ:
        import soxr

        mono = soxr.resample(mono, rate, RATE_HZ)
    return np.clip(np.rint(mono * 32768.0), -32768, 32767).astype("<i2").tobytes()


def _wav_cut_short(path: str | Path) -> bool:
    """Whether a RIFF file is shorter than its header says: the library reads on without a word."""
    with open(path, "rb") as file:
        head = file.read(12)
        size = Path(path).stat().st_size
    if head[:4] != b"RIFF" or head[8:12] != b"WAVE":
        return False
    stated = int.from_bytes(head[4:8], "little")
    return stated not in (0, 0xFFFFFFFF) and stated + 8 > size + 1   # recorders that stream write 0 or all ones

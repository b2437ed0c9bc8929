"""Which phones an utterance holds, frame by frame: small networks upon what the attention model's encoder hears.

The attention model writes what makes sense; these have no idea of sense, and so tell "a firm it is" from "affirmative".
Each is three convolutions in time, trained by `measure/train_phones.py`, evaluated in numpy. They were begun and shaped
differently, so they err differently: what is asked of them is their mean over whole words. (Their mean frame by frame is
worse than one alone: each is sure of a phone in another of its frames.)
"""

from __future__ import annotations

import hashlib
import zipfile
from functools import lru_cache
from importlib import resources
from importlib.resources.abc import Traversable

import numpy as np

from assistant.errors import ModelError
from assistant.hearing.reading.phone_paths import Sequences
from assistant.hearing.reading.speech_model import log_softmax

LAYERS = ("first", "second", "last")


class PhoneModel:
    """`phones`: ARPAbet names, in the order of the columns after the blank."""

    def __init__(self, data: dict[str, np.ndarray]) -> None:
        """`data`: "phones", and of each network, numbered from 0, what `Network` takes, as "0/mean". KeyError without one."""
        self.phones = tuple(str(p) for p in data["phones"])
        count = len([name for name in data if name.endswith("/mean")])
        self._networks = [Network({name.partition("/")[2]: data[name] for name in data if name.startswith(f"{number}/")})
                          for number in range(max(1, count))]
        self.sha256 = _hash(data)
        self._number = {phone: k + 1 for k, phone in enumerate(self.phones)}

    def sequences(self, pronunciations: list[str]) -> Sequences:
        """Of phoneme strings ("AH F ER M"). KeyError on a phone that isn't the model's."""
        return Sequences([self.numbers(text) for text in pronunciations])

    def numbers(self, pronunciation: str) -> list[int]:
        """The columns of a phoneme string. KeyError as above."""
        return [self._number[p] for p in pronunciation.split()]

    def logs(self, sound: np.ndarray) -> list[np.ndarray]:
        """Of each network (frames, phones + 1) log probabilities. `sound`: (1, frames, width), from `SpeechModel.listen`."""
        return [network.logs(sound[0]) for network in self._networks]


class Network:
    def __init__(self, data: dict[str, np.ndarray]) -> None:
        """`data`: "mean", "spread" (width,), and of each layer "NAME_weight" (out, in, frames), "NAME_bias"."""
        self._mean, self._spread = (data[name].astype(np.float32) for name in ("mean", "spread"))
        self._layers = [(data[f"{name}_weight"].astype(np.float32), data[f"{name}_bias"].astype(np.float32)) for name in LAYERS]

    def logs(self, frames: np.ndarray) -> np.ndarray:
        """(frames, phones + 1) log probabilities."""
        found = (frames - self._mean) / self._spread
        for weight, bias in self._layers[:-1]:
            found = np.maximum(_convolve(found, weight, bias), 0.0)
        return log_softmax(_convolve(found, *self._layers[-1]))


def _convolve(frames: np.ndarray, weight: np.ndarray, bias: np.ndarray) -> np.ndarray:
    """(frames, in) -> (frames, out), with silence at the ends. `weight`: (out, in, an odd number of frames)."""
    width = weight.shape[2]
    padded = np.pad(frames, ((width // 2, width // 2), (0, 0)))
    found: np.ndarray = bias + sum(padded[k:k + len(frames)] @ weight[:, :, k].T for k in range(width))
    return found


def _hash(data: dict[str, np.ndarray]) -> str:
    """SHA-256 over names and contents: the same weights have the same, however they were packed."""
    digest = hashlib.sha256()
    for name in sorted(data):
        digest.update(name.encode() + b"\0" + np.ascontiguousarray(data[name]).tobytes())
    return digest.hexdigest()


def read_phone_model(path: Traversable) -> PhoneModel:
    """From an .npz file. Raises ModelError when it is missing or damaged."""
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as data:
            return PhoneModel({key: data[key] for key in data.files})
    except (OSError, EOFError, ValueError, KeyError, zipfile.BadZipFile) as error:
        raise ModelError(f"The phone model can't be read: {error}", where=str(path),
                         try_next="get the program's files again; this one is damaged or missing") from error


@lru_cache(maxsize=2)
def load_phone_model(name: str) -> PhoneModel:
    """The packaged model of that name. Raises ModelError."""
    return read_phone_model(resources.files("assistant.hearing") / "packs" / f"phones_{name}.npz")

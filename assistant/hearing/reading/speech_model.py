"""The attention model that reads an utterance as text: Moonshine tiny for English, run by onnxruntime.

The package `moonshine-voice` carries its weights. Its own interface hands out text alone; to judge a word we need how
likely *each* of our words is, so the two networks are run here step by step. Model: Jeffries et al. 2024, "Moonshine:
Speech Recognition for Live Transcription and Voice Commands" (MIT licence).
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from assistant.errors import ModelError
from assistant.hearing.reading.word_pieces import WordPieces

FILES = ("encoder_model.ort", "decoder_model_merged.ort", "tokenizer.bin")
LEAST_SAMPLES = 4_000      # a quarter of a second: the encoder has no frame for less
PACKAGE, VERSION_WITH_MODEL = "moonshine-voice", "0.0.73"


def find() -> Path | None:
    """The folder with the model's files, or None where the package isn't installed or carries no model."""
    spec = find_spec("moonshine_voice")      # found, not imported: the import would load a library of no use here
    for base in spec.submodule_search_locations or () if spec else ():
        folder = Path(base) / "assets" / "tiny-en"
        if all((folder / name).is_file() for name in FILES):
            return folder
    return None


class SpeechModel:
    """Two networks. One thread: beside a session there is seldom a second core to spare, and figures stay the same."""

    def __init__(self, folder: Path) -> None:
        """Raises ModelError when a file is missing or damaged."""
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        options.log_severity_level = 4
        try:
            self._encoder, self._decoder = (
                onnxruntime.InferenceSession(str(folder / name), options, providers=["CPUExecutionProvider"])
                for name in FILES[:2])
        except Exception as error:   # the library raises a class of its own for each cause
            raise ModelError("The speech model can't be loaded.", where=str(folder),
                             try_next=f"install {PACKAGE}=={VERSION_WITH_MODEL} again") from error
        self.pieces = WordPieces.read(folder / FILES[2])
        inputs = self._decoder.get_inputs()
        self._past = [i.name for i in inputs if i.name.startswith("past_key_values")]
        shape = next(i.shape for i in inputs if i.name == self._past[0])
        self._heads, self._width = shape[1], shape[3]
        self._outputs = [o.name for o in self._decoder.get_outputs()]

    def listen(self, pcm: bytes) -> np.ndarray:
        """The sound as the decoder takes it, (1, frames, width). `pcm`: 16 kHz mono int16; what is shorter than
        LEAST_SAMPLES is made up with silence."""
        samples = np.frombuffer(pcm, dtype="<i2").astype(np.float32) / 32768.0
        if len(samples) < LEAST_SAMPLES:
            samples = np.pad(samples, (0, LEAST_SAMPLES - len(samples)))
        sound: np.ndarray = self._encoder.run(None, {"input_values": samples[None], "attention_mask": np.ones((1, len(samples)), np.int64)})[0]
        return sound

    def run(self, sound: np.ndarray, numbers: np.ndarray, past: dict[str, np.ndarray] | None
            ) -> tuple[np.ndarray, dict[str, np.ndarray]]:
        """One step. `sound`: (n, frames, width); `numbers`: (n,). -> log probabilities (n, pieces), the next `past`."""
        count = len(numbers)
        feed = {"input_ids": numbers.astype(np.int64)[:, None], "encoder_hidden_states": sound,
                "encoder_attention_mask": np.ones(sound.shape[:2], np.int64), "use_cache_branch": np.array([past is not None])}
        empty = np.zeros((count, self._heads, 1, self._width), np.float32)
        feed |= past if past is not None else dict.fromkeys(self._past, empty)
        found = dict(zip(self._outputs, self._decoder.run(None, feed), strict=False))
        following = {}
        for name in self._past:
            # What was made of the sound is made once, in the first step; later steps hand out nothing for it.
            kept = past[name] if past is not None and ".encoder." in name else None
            following[name] = found[name.replace("past_key_values", "present")] if kept is None else kept
        return log_softmax(found["logits"][:, -1]), following


class Reader:
    """Reads one utterance piece by piece, several readings side by side. `sound`: from `listen`."""

    def __init__(self, model: SpeechModel, sound: np.ndarray) -> None:
        self._model, self._sound = model, sound
        self._past: dict[str, np.ndarray] | None = None

    def step(self, parents: list[int], numbers: list[int]) -> np.ndarray:
        """Go on with reading `parents[k]` of the step before by piece `numbers[k]`. -> (k, pieces) log probabilities
        of the piece after. The first step has one parent, which counts for nothing, and the piece BEGIN."""
        past = self._past
        if past is not None and parents != list(range(len(next(iter(past.values()))))):
            past = {name: value[parents] for name, value in past.items()}
        sound = np.repeat(self._sound, len(numbers), axis=0)
        found, self._past = self._model.run(sound, np.array(numbers), past)
        return found


def log_softmax(logits: np.ndarray) -> np.ndarray:
    """Log probabilities along the second axis."""
    shifted = logits - logits.max(axis=1, keepdims=True)
    found: np.ndarray = shifted - np.log(np.exp(shifted).sum(axis=1, keepdims=True))
    return found


@lru_cache(maxsize=4)
def sha256(folder: Path) -> str:
    """SHA-256 over names and contents of the model's files."""
    digest = hashlib.sha256()
    for name in FILES:
        digest.update(name.encode() + b"\0")
        digest.update((folder / name).read_bytes())
    return digest.hexdigest()

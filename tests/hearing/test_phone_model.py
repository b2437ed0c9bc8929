"""The phone model: its network, its file, and what it makes of speech."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.errors import ModelError
from assistant.hearing.reading import speech_model
from assistant.hearing.reading.phone_model import PhoneModel, load_phone_model, read_phone_model
from assistant.hearing.reading.phone_scores import LEAD_MOST, PhoneScorer
from assistant.hearing.vocabulary.lexicon import bundled_dictionary_path, dictionary
from assistant.hearing.vocabulary.packs import load_pack
from tests.hearing.sounds import mixed, spoken_wave

reads = pytest.mark.skipif(speech_model.find() is None, reason="the attention model isn't installed here")


def weights(seed: int = 3) -> dict[str, np.ndarray]:
    """Of two networks of different shapes."""
    rng = np.random.default_rng(seed)
    found = {"phones": np.array(["AH", "T"])}
    for number, looks_at in enumerate((3, 5)):
        shapes = {"first": (5, 4, looks_at), "second": (5, 5, 5), "last": (3, 5, 1)}
        found |= {f"{number}/mean": rng.normal(size=4), f"{number}/spread": rng.uniform(1, 2, 4)}
        for name, shape in shapes.items():
            found |= {f"{number}/{name}_weight": rng.normal(size=shape).astype(np.float16),
                      f"{number}/{name}_bias": rng.normal(size=shape[0])}
    return found


@pytest.mark.parametrize("number", [0, 1])
def test_each_network_is_three_convolutions_as_numpy_reckons_them(number):
    data = weights()
    sound = np.random.default_rng(9).normal(size=(1, 7, 4))
    layer = ((sound[0] - data[f"{number}/mean"]) / data[f"{number}/spread"]).T
    for name in ("first", "second", "last"):
        kernel = data[f"{number}/{name}_weight"].astype(float)
        # numpy.convolve turns the kernel round, as mathematics has it; a network doesn't.
        layer = np.array([sum(np.convolve(row, k[::-1], "same") for row, k in zip(layer, kernels, strict=False)) for kernels in kernel])
        layer += data[f"{number}/{name}_bias"][:, None]
        layer = np.maximum(layer, 0.0) if name != "last" else layer
    expected = layer - np.log(np.exp(layer).sum(axis=0))
    assert PhoneModel(data).logs(sound)[number] == pytest.approx(expected.T, abs=1e-4)


def test_a_model_is_known_by_its_weights_however_they_are_packed(tmp_path):
    np.savez(tmp_path / "plain.npz", **weights())
    np.savez_compressed(tmp_path / "small.npz", **weights())
    np.savez(tmp_path / "other.npz", **weights(4))
    plain, small, other = (read_phone_model(tmp_path / f"{name}.npz").sha256 for name in ("plain", "small", "other"))
    assert plain == small != other


@pytest.mark.parametrize("damage", [
    lambda path: path.unlink(), lambda path: path.write_bytes(path.read_bytes()[:-200]), lambda path: path.write_bytes(b""),
    lambda path: np.savez(path, **{k: v for k, v in weights().items() if k != "1/last_bias"}),
    lambda path: np.savez(path, phones=np.array(["AH", "T"]))])
def test_a_missing_or_damaged_file_is_said_with_its_place(tmp_path, damage):
    path = tmp_path / "phones.npz"
    np.savez(path, **weights())
    damage(path)
    with pytest.raises(ModelError) as told:
        read_phone_model(path)
    assert str(path) in str(told.value.where) and told.value.try_next


@reads
def test_each_word_fits_its_own_sound_best_and_is_ahead_of_what_is_like_it():
    pack, known = load_pack("en"), dictionary(bundled_dictionary_path())
    scorer = PhoneScorer(load_phone_model("en"), pack, known)
    model = speech_model.SpeechModel(speech_model.find())
    for form in ("affirmative", "stop", "say again", "torn glove", "negative"):
        found = scorer.score(model.listen(mixed([spoken_wave(form)], gap_s=0.2)[0]))
        assert max(found.log, key=found.log.get) == form
        assert found.lead(form, pack) > 5.0 and found.near(form) > 1.0 and found.fit(form) > -1.0
        assert found.fit("how long") < found.fit(form) and found.near("how long") == -LEAD_MOST

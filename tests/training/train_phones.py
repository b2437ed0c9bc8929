"""Make the sounds and train the phone model on them.

    python -m tests.training.train_phones sounds --jobs 2 SOUNDS.npz
    python -m tests.training.train_phones train --jobs 2 SOUNDS.npz assistant/hearing/packs/phones_en.npz
    python -m tests.training.train_phones train --jobs 2 SOUNDS.npz --half 0 0.npz

The first takes about half an hour on one core, and needs the voices of `phone_sounds`. The second needs PyTorch
(`pip install torch`; not among the project's requirements, since nothing else uses it) and takes about 15 minutes of a
core for each network, half of it for a half. `--half` trains on half of the speakers alone, without the near words that the verifier is tuned on; the verifier is
fitted to what such models say of the other half. The encoder stays as its makers trained it: what it knows of people's
voices is kept.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from assistant.hearing.vocabulary.lexicon import bundled_dictionary_path, dictionary, pronounce
from assistant.hearing.vocabulary.packs import load_pack
from tests.training.phone_sounds import HALVES, NOISES, half_of, sounds_of, tuning_texts, voice_list

WIDTH = 192                # of the two inner layers
# Frames that each layer looks at, of each network.
NETWORKS = ((3, 5, 1), (5, 5, 1))
DROPPED = 0.2
JITTER = 0.3               # of a feature's spread, added while training
PASSES, PASSES_OF_A_HALF = 10, 10
BATCH = 64
FASTEST, DECAY = 4e-3, 1e-2


def make(to: Path, jobs: int) -> None:
    """`to`: frames of all sounds one after the other, with where each ends, its text and voice."""
    frames, ends, texts, spoken_by, total = [], [], [], [], 0
    listed = voice_list()
    with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        for k, found in enumerate(pool.map(sounds_of, *zip(*listed, strict=False))):
            for sound in found:
                total += len(sound.frames)
                frames.append(sound.frames)
                ends.append(total)
                texts.append(sound.text)
                spoken_by.append(sound.voice)
            print(f"{k + 1} of {len(listed)} voices, {len(ends)} sounds", file=sys.stderr)
    np.savez(to, frames=np.concatenate(frames), ends=ends, texts=texts, voices=spoken_by)


def train(sounds: Path, half: int | None, jobs: int) -> dict[str, np.ndarray]:
    """What `phone_model.PhoneModel` takes. `half`: of the speakers; None for all. `jobs`: processes at a time."""
    numbers = range(len(NETWORKS))
    with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        trained = list(pool.map(train_one, [sounds] * len(numbers), numbers, [half] * len(numbers)))
    return {"phones": trained[0]["phones"],
            **{f"{k}/{name}": data for k, found in enumerate(trained) for name, data in found.items() if name != "phones"}}


def train_one(sounds: Path, number: int, half: int | None) -> dict[str, np.ndarray]:
    """Network `number`, and "phones"."""
    import torch
    from torch import nn

    torch.set_num_threads(1)
    torch.manual_seed(1 + number)
    pack, known = load_pack("en"), dictionary(bundled_dictionary_path())
    with np.load(sounds) as data:
        frames, ends, texts, spoken_by = (data[name] for name in ("frames", "ends", "texts", "voices"))
    pieces = np.split(frames, ends[:-1])
    said = {text: pronounce(text, known, pack.pronunciations)[0].split() if text else [] for text in set(texts.tolist())}
    phones = sorted({phone for spelled in said.values() for phone in spelled})
    column = {phone: k + 1 for k, phone in enumerate(phones)}
    left_out = tuning_texts(pack) if half is not None else set()
    chosen = [k for k, (text, voice) in enumerate(zip(texts.tolist(), spoken_by.tolist(), strict=False))
              if (half is None or voice == NOISES or half_of(voice) == half) and text not in left_out
              and len(said[text]) + 2 < len(pieces[k])]
    sample = np.concatenate([pieces[k] for k in chosen[::20]]).astype(np.float32)
    mean, spread = sample.mean(axis=0), sample.std(axis=0) + 1e-3

    width = frames.shape[1]
    sizes = [(width, WIDTH), (WIDTH, WIDTH), (WIDTH, len(phones) + 1)]
    layers = nn.ModuleList(nn.Conv1d(*size, count, padding=count // 2) for size, count in zip(sizes, NETWORKS[number], strict=False))

    def run(x, there):
        for layer in layers[:-1]:
            x = nn.functional.dropout(torch.relu(layer(x)) * there, DROPPED)
        return torch.log_softmax(layers[-1](x), 1).permute(2, 0, 1)

    by_length = sorted(chosen, key=lambda k: len(pieces[k]))
    batches = [by_length[at:at + BATCH] for at in range(0, len(by_length), BATCH)]
    passes = PASSES if half is None else PASSES_OF_A_HALF
    optimiser = torch.optim.AdamW(layers.parameters(), weight_decay=DECAY)
    pace = torch.optim.lr_scheduler.OneCycleLR(optimiser, FASTEST, total_steps=passes * len(batches))
    loss_of = nn.CTCLoss(zero_infinity=True)
    order = np.random.default_rng(number)
    for turn in range(passes):
        total = 0.0
        for at in order.permutation(len(batches)):
            batch = batches[at]
            longest = max(len(pieces[k]) for k in batch)
            x, there = np.zeros((len(batch), width, longest), np.float32), np.zeros((len(batch), 1, longest), np.float32)
            for row, k in enumerate(batch):
                x[row, :, :len(pieces[k])] = ((pieces[k] - mean) / spread).T
                there[row, :, :len(pieces[k])] = 1.0
            x, there = torch.from_numpy(x), torch.from_numpy(there)
            targets = [[column[p] for p in said[str(texts[k])]] for k in batch]
            loss = loss_of(run(x + torch.randn_like(x) * JITTER * there, there), torch.tensor([c for target in targets for c in target]),
                           torch.tensor([len(pieces[k]) for k in batch]), torch.tensor([len(t) for t in targets]))
            optimiser.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(layers.parameters(), 5.0)
            optimiser.step()
            pace.step()
            total += float(loss.detach())
        print(f"network {number}, pass {turn + 1} of {passes}: {total / len(batches):.3f}", file=sys.stderr)
    found = {"mean": mean, "spread": spread, "phones": np.array(phones)}
    for name, layer in zip(("first", "second", "last"), layers, strict=False):
        found |= {f"{name}_weight": layer.weight.detach().numpy().astype(np.float16), f"{name}_bias": layer.bias.detach().numpy()}
    return found


if __name__ == "__main__":
    asked = argparse.ArgumentParser()
    parts = asked.add_subparsers(dest="part", required=True)
    making, training = parts.add_parser("sounds"), parts.add_parser("train")
    making.add_argument("to", type=Path)
    training.add_argument("sounds", type=Path)
    training.add_argument("to", type=Path)
    training.add_argument("--half", type=int, choices=range(HALVES))
    for part in (making, training):
        part.add_argument("--jobs", type=int, default=1)
    given = asked.parse_args()
    if given.part == "sounds":
        make(given.to, given.jobs)
    else:
        np.savez_compressed(given.to, **train(given.sounds, given.half, given.jobs))

"""The figures: recall, confusions, false accepts, latency, processor. One function for the chain and its baseline."""

from __future__ import annotations

import time
from collections import Counter, defaultdict
from collections.abc import Callable

import numpy as np

from assistant.hearing.sound.frames import RATE_HZ
from assistant.hearing.vocabulary.packs import Pack
from assistant.language import vocabulary as words
from tests.bench.hearing import chain, negatives, voices
from tests.bench.hearing.mixing import mix
from tests.bench.hearing.rates import rate

SNRS: tuple[tuple[str, float | None], ...] = (("clean", None), ("15 dB", 15.0), ("10 dB", 10.0))
MOST_NAMED = 30        # confusions of a kind
A_TURN = 1_000         # apart lie the seeds of the fan


class Figures:
    """Collects what one kind of listener does. `make` gives a fresh listener with everything active."""

    def __init__(self, make: Callable[[], object], pack: Pack, say: Callable[[str], None]) -> None:
        self._make, self._pack, self._say = make, pack, say
        self.recall: dict[str, dict[str, list[int]]] = defaultdict(dict)
        self.wrong = [0, 0]
        self.false_accepts: dict[str, list[int]] = {}
        self.confirmed_falsely: Counter[str] = Counter()
        self.confusions: dict[str, Counter[str]] = defaultdict(Counter)      # by kind of what was said
        self.latency_s: list[float] = []
        self.latency_15_s: list[float] = []
        self.audio_s = 0.0
        self.taken_s = 0.0
        self.outside = 0

    def _run(self, pieces, snr: float | None, seed: int, kind: str) -> list[chain.Outcome]:
        pcm, placed = mix(pieces, snr, seed, kind)
        listener = self._make()
        begun = time.process_time()
        outcomes, outside = chain.run(listener, pcm, placed)
        self.taken_s += time.process_time() - begun
        self.audio_s += len(pcm) / 2 / RATE_HZ
        self.outside += sum(u.accepted for u in outside)
        return outcomes

    def commands(self, voice_list: tuple[str, ...], every: int = 1, fan: str = "report", turn: int = 0) -> None:
        """All spoken forms by each voice at each ratio. `turn`: another stretch of the fan each."""
        for voice in voice_list:
            pieces = [(word, form, voices.render(form, voice)) for word, forms in self._pack.say.items() for form in forms]
            for k, (name, snr) in enumerate(SNRS):
                outcomes = self._run(pieces[k % every::every], snr, 100 + 7 * len(voice) + k + A_TURN * turn, fan)
                right = sum(o.right for o in outcomes)
                known = self.recall[voice].setdefault(name, [0, 0])
                known[0] += right
                known[1] += len(outcomes)
                self.wrong[0] += sum(o.wrong for o in outcomes)
                self.wrong[1] += len(outcomes)
                for o in outcomes:
                    for u in o.accepted:
                        if u.word != o.piece.truth:
                            self.confusions["commands"][f"{o.piece.label} -> {u.said} ({name})"] += 1
                found = [o.latency_s() for o in outcomes]
                self.latency_s += [v for v in found if v is not None]
                if snr == 15.0:
                    self.latency_15_s += [v for v in found if v is not None]
                self._say(f"{voice} {name}: {right} of {len(outcomes)}")

    def negatives(self, split: str, voice_list: tuple[str, ...], every: int = 1, turn: int = 0) -> None:
        """Everything that is no command, at 15 dB."""
        for kind, pieces in negatives.gather(self._pack, split, voice_list, every):
            outcomes = self._run(pieces, 15.0, 300 + len(kind) + A_TURN * turn, split)
            hits = [o for o in outcomes if o.accepted]
            known = self.false_accepts.setdefault(kind, [0, 0])
            known[0] += len(hits)
            known[1] += len(outcomes)
            for o in hits:
                self.confusions[kind][f"{o.piece.label} -> {o.accepted[0].said}"] += 1
                if any(u.word in words.CONFIRMING for u in o.accepted):
                    self.confirmed_falsely[kind] += 1
            self._say(f"{kind}: {len(hits)} of {len(outcomes)} accepted")

    def result(self) -> dict[str, object]:
        def percentiles(found: list[float]) -> dict[str, float | None]:
            if not found:
                return {"p50": None, "p95": None, "n": 0}
            return {"p50": round(1000 * float(np.percentile(found, 50))), "p95": round(1000 * float(np.percentile(found, 95))),
                    "n": len(found)}

        groups: dict[str, dict[str, list[int]]] = defaultdict(lambda: defaultdict(lambda: [0, 0]))
        for voice, rows in self.recall.items():
            group = "formant" if voice.startswith("espeak") else "natural"
            for name, (right, count) in rows.items():
                groups[group][name][0] += right
                groups[group][name][1] += count
        return {
            "recall": {**{g: {n: rate(*v) for n, v in rows.items()} for g, rows in groups.items()},
                       "by_voice": {v: {n: rate(*c) for n, c in rows.items()} for v, rows in self.recall.items()}},
            "wrong": rate(*self.wrong),
            "false_accepts": {kind: rate(*v) for kind, v in self.false_accepts.items()},
            "false_confirmations": dict(self.confirmed_falsely),
            "accepted_where_nothing_was_said": self.outside,
            "latency_ms": {"all": percentiles(self.latency_s), "15 dB": percentiles(self.latency_15_s)},
            "cpu": {"share_of_one_core": round(self.taken_s / self.audio_s, 4) if self.audio_s else None,
                    "audio_s": round(self.audio_s, 1)},
            "confusions": {kind: dict(found.most_common(MOST_NAMED)) for kind, found in self.confusions.items()},
        }

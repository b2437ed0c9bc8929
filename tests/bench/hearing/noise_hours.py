"""A working day of fan, coughs, knocks, breath, rustling and alarms with nobody speaking, through the whole chain.

Faster than real time, minute by minute from a seed; what was found is kept in a journal, so that a run that was cut off
goes on. Whatever is accepted is false, since nothing was said. Beside it, on the same sound, the engine's plain grammar.
"""

from __future__ import annotations

import json
import math
import os
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np

from assistant.errors import StorageError
from assistant.language import vocabulary as words
from tests.bench.hearing import memory, noises
from tests.bench.hearing.rates import rate

FAN_RMS = (60.0, 500.0)          # of 32768: 31 to 13 dB under a voice at the usual level
BURST_PEAK = (2000.0, 12_000.0)
BURSTS_A_MINUTE = (1, 10)        # at least, below
SETTLE_MINUTES = 10              # models and buffers have taken their place by then: flat is counted from here
KEEP_EVERY_MINUTES = 10


def minute_of_noise(seed: int, minute: int) -> tuple[bytes, int]:
    """One minute as 16 kHz int16 PCM, and how many bursts are in it. Another fan level each minute, at one bound."""
    rng = np.random.default_rng([seed, minute])
    wave = noises.fan(60.0, seed * 100_000 + minute, "report") * rng.uniform(*FAN_RMS)
    count = int(rng.integers(*BURSTS_A_MINUTE))
    for _ in range(count):
        kind = str(rng.choice(sorted(noises.KINDS)))
        sound = noises.burst(kind, int(rng.integers(1 << 30))) * rng.uniform(*BURST_PEAK)
        at = int(rng.integers(0, len(wave) - len(sound)))
        wave[at:at + len(sound)] += sound
    return np.clip(np.rint(wave), -32768, 32767).astype("<i2").tobytes(), count


class Tally:
    """What was counted so far; plain data, so that it can be kept and read back."""

    def __init__(self, data: dict[str, object] | None = None) -> None:
        data = data or {}
        self.minutes = int(data.get("minutes", 0))
        self.bursts = int(data.get("bursts", 0))
        self.chain: Counter[str] = Counter(data.get("chain", {}))
        self.plain: Counter[str] = Counter(data.get("plain", {}))
        self.reasons: Counter[str] = Counter(data.get("reasons", {}))
        self.rss: list[list[float | None]] = list(data.get("rss", []))   # [start, settled, end, most] of each run
        self.accepted: list[dict[str, object]] = list(data.get("accepted", []))

    def data(self) -> dict[str, object]:
        return {"minutes": self.minutes, "bursts": self.bursts, "chain": self.chain, "plain": self.plain,
                "reasons": self.reasons, "rss": self.rss, "accepted": self.accepted}


def noise_hours(make: Callable[[], object], hours: float, *, plain: Callable[[], object] | None = None, seed: int = 5,
                journal: Path | None = None, about: str = "", say: Callable[[str], None] = lambda text: None) -> dict[str, object]:
    """Run `hours` of it and return the figures. `make` gives the listener, `plain` the baseline; both have `feed`.

    `journal`: goes on from there, where `about` (engine and vocabulary) and `seed` are those of the journal. Raises
    StorageError for a journal of another measurement, or one that can't be read or written.
    """
    tally = _read(journal, about, seed)
    wanted = round(hours * 60)
    listener, other = make(), plain() if plain else None
    start = memory.rss_mib()
    run = [start, None, start, start]
    tally.rss.append(run)
    begun, first = time.process_time(), tally.minutes
    if first and first < wanted:   # let the noise floor settle as it had, without counting
        pcm, _ = minute_of_noise(seed, first - 1)
        listener.feed(pcm)
        if other:
            other.feed(pcm)
    spent = 0.0
    while tally.minutes < wanted:
        pcm, bursts = minute_of_noise(seed, tally.minutes)
        before = time.process_time()
        _count(listener.feed(pcm), tally.chain, tally.minutes, tally)
        spent += time.process_time() - before
        if other:
            _count(other.feed(pcm), tally.plain, tally.minutes)
        tally.bursts += bursts
        tally.minutes += 1
        held = memory.rss_mib()
        if held is not None:
            run[1] = held if tally.minutes - first == SETTLE_MINUTES else run[1]
            run[2], run[3] = held, max(run[3] or 0.0, held)
        if tally.minutes % KEEP_EVERY_MINUTES == 0 or tally.minutes == wanted:
            _keep(journal, about, seed, tally)
            say(f"{tally.minutes / 60:.1f} h: {tally.chain['utterances']} utterances, {tally.chain['accepted']} accepted, "
                f"{held} MiB, {time.process_time() - begun:.0f} s of computing")
    done = tally.minutes - first
    return {**_result(tally), "cpu_share_of_one_core": round(spent / (done * 60), 4) if done else None}


def _count(found: list, into: Counter[str], minute: int, tally: Tally | None = None) -> None:
    for u in found:
        into["utterances"] += 1
        if tally is not None and not u.accepted:
            tally.reasons[u.reason] += 1
        if u.accepted:
            into["accepted"] += 1
            into["confirmed"] += u.word in words.CONFIRMING
            if tally is not None:
                tally.accepted.append({"minute": minute, "start_s": u.start_s, "word": u.word, "confidence": round(u.confidence, 3)})


def _result(tally: Tally) -> dict[str, object]:
    hours = tally.minutes / 60
    runs = [{"start_mib": a, "settled_mib": b, "end_mib": c, "max_mib": d} for a, b, c, d in tally.rss if c != a or len(tally.rss) == 1]
    last = runs[-1] if runs else {}
    return {
        "hours": round(hours, 3), "bursts": tally.bursts, "utterances": tally.chain["utterances"],
        "false_accepts": tally.chain["accepted"], "confirmations": tally.chain["confirmed"],
        "confirmations_of_bursts": rate(tally.chain["confirmed"], tally.bursts),
        "false_accepts_of_bursts": rate(tally.chain["accepted"], tally.bursts),
        "confirmations_in_8_h_upper_95": round(8.0 * poisson_upper(tally.chain["confirmed"]) / hours, 3) if hours else None,
        "false_accepts_in_8_h_upper_95": round(8.0 * poisson_upper(tally.chain["accepted"]) / hours, 3) if hours else None,
        "rss_start_mib": last.get("start_mib"), "rss_settled_mib": last.get("settled_mib"), "rss_end_mib": last.get("end_mib"),
        "rss_max_mib": last.get("max_mib"), "runs": runs, "refused_because": dict(tally.reasons.most_common()),
        "accepted": tally.accepted[:50],
        "plain_grammar": {"utterances_named": tally.plain["utterances"], "false_accepts": tally.plain["accepted"],
                          "confirmations": tally.plain["confirmed"]},
    }


def poisson_upper(count: int, confidence: float = 0.95) -> float:
    """Upper bound of the mean behind `count` events (Garwood 1936): 3.0 for none of them at 95 %."""
    low, high = 0.0, 20.0 + 4.0 * count
    for _ in range(60):
        middle = (low + high) / 2
        below = sum(math.exp(k * math.log(middle) - middle - math.lgamma(k + 1)) for k in range(count + 1))
        low, high = (middle, high) if below > 1 - confidence else (low, middle)
    return high


def _read(journal: Path | None, about: str, seed: int) -> Tally:
    if journal is None or not journal.exists():
        return Tally()
    try:
        data = json.loads(journal.read_text(encoding="utf-8"))
        same = (data["about"], data["seed"]) == (about, seed)
        tally = Tally(data["tally"])
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise StorageError("The journal can't be read.", where=str(journal), try_next="delete it and start again") from error
    if not same:
        raise StorageError("The journal is of another measurement.", where=str(journal), expected=about,
                           try_next="name another file, or delete it and start again")
    return tally


def _keep(journal: Path | None, about: str, seed: int, tally: Tally) -> None:
    if journal is None:
        return
    half = journal.with_name(f"{journal.name}.{os.getpid()}")
    try:
        half.write_text(json.dumps({"about": about, "seed": seed, "tally": tally.data()}), encoding="utf-8")
        half.replace(journal)
    except OSError as error:
        raise StorageError(f"The journal can't be written: {error.strerror}.", where=str(journal)) from error

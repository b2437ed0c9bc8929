"""Before a session: will hearing hold for the whole of it, as the person is dressed?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from assistant.hearing.sound.frames import HOP_S, Framer
from assistant.hearing.sound.level import NO_SOUND, OVERDRIVEN, LevelMeter
from assistant.hearing.sound.noise_floor import NoiseFloor
from assistant.hearing.sound.segmenter import Segmenter
from assistant.hearing.sound.speech_level import active_rms
from assistant.hearing.sound.subtract import noise_rms

GOOD_SNR_DB, LEAST_SNR_DB = 15.0, 8.0
BATTERY_MARGIN = 1.2     # of the forecast's 90 % time: common practice, no source
SLOW_LOAD_S = 15.0
FAR_FROM_USUAL_DB = 10.0  # a headset worn otherwise than when the profile was made: common practice, no source

GO, GO_WITH_HELP, DONT = "go", "go with a tested foot switch or a named second person at the keys", "don't"


@dataclass(frozen=True)
class LevelCheck:
    """What a few spoken words showed. RMS of 32768; `snr_db` None when no speech was found. `overdriven`: waves cut off,
    at whatever level."""

    speech_rms: float
    noise_rms: float
    snr_db: float | None
    clipped_share: float
    dead: bool
    overdriven: bool = False


@dataclass(frozen=True)
class Readiness:
    verdict: str
    reasons: tuple[str, ...]


def check_level(pcm: bytes) -> LevelCheck:
    """Speech level, noise floor and clipping of a recording in which someone spoke a few words."""
    samples = np.frombuffer(pcm[: len(pcm) - len(pcm) % 2], dtype="<i2")
    if len(samples) == 0 or int(np.abs(samples.astype(np.int32)).max()) <= 1:
        return LevelCheck(0.0, 0.0, None, 0.0, True)
    _, spectra = Framer().feed(pcm)
    powers = (spectra.real**2 + spectra.imag**2).astype(np.float32)
    segmenter = Segmenter()
    spans: list[tuple[int, int]] = []
    for power in powers:
        if segmenter.step(power) == "end":
            span = segmenter.close()
            if span is not None and span.loud_s > 0.15:
                spans.append((span.start, span.last_loud))
    meter = LevelMeter()
    meter.push(samples)
    floor: NoiseFloor = segmenter.floor
    noise = noise_rms(floor.power)
    clipped = float((np.abs(samples.astype(np.int32)) >= 32_700).mean())
    if not spans:
        return LevelCheck(0.0, round(noise, 1), None, clipped, False, meter.overdriven)
    hop = int(HOP_S * 16_000)
    words = np.concatenate([samples[a * hop:(b + 2) * hop] for a, b in spans]).astype(np.float32)
    speech = float(np.sqrt(max(active_rms(words) ** 2 - noise**2, 1.0)))
    snr = 20 * np.log10(speech / max(noise, 0.5))
    return LevelCheck(round(speech, 1), round(noise, 1), round(float(snr), 1), clipped, False, meter.overdriven)


def judge_readiness(level: LevelCheck | None, heard: int, asked: int, *, battery_s: float | None = None,
                    needed_s: float | None = None, load_s: float = 0.0, other_way_in: bool = False,
                    alarms_heard: bool | None = None, usual_rms: float = 0.0, low: tuple[str, ...] = ()) -> Readiness:
    """One plain verdict. `level` None: no device. `heard` of `asked` words, said as dressed for the work.

    `battery_s`: what the device says is left. `needed_s`: the forecast's 90 % time. `other_way_in`: a foot switch that
    was tried or a named second person. `alarms_heard`: one ear is open, or the site says alarms come over the headset.
    `usual_rms`: the person's own speech level by their profile, 0 without one. `low`: what else is running out, in words.
    """
    bad: list[str] = []
    weak: list[str] = [*low]
    notes: list[str] = [] if alarms_heard else ["Ask: can the room's alarms be heard?"]
    if level is None:
        weak.append("There is no microphone.")
    elif level.dead:
        weak.append(NO_SOUND)
    elif level.snr_db is None:
        weak.append("No word was loud enough to stand out.")
    else:
        if level.snr_db < LEAST_SNR_DB:
            weak.append(f"The room is too loud: speech stands only {level.snr_db:.0f} dB above the noise.")
        elif level.snr_db < GOOD_SNR_DB and asked and heard < asked:
            weak.append(f"The room is loud ({level.snr_db:.0f} dB), and a word was missed.")
        if level.overdriven or level.clipped_share > 0.001:
            weak.append(OVERDRIVEN)
        if usual_rms > 0 and level.speech_rms > 0:
            off_db = float(20 * np.log10(level.speech_rms / usual_rms))
            if abs(off_db) > FAR_FROM_USUAL_DB:
                notes.append(f"The voice comes in {abs(off_db):.0f} dB {'louder' if off_db > 0 else 'quieter'} than when the "
                             "profile was made. Look where the microphone sits.")
    if level is not None and asked and heard < 0.75 * asked:
        weak.append(f"Only {heard} of {asked} words were understood.")
    if battery_s is not None and needed_s is not None and battery_s < needed_s * BATTERY_MARGIN:
        weak.append(f"The battery lasts {battery_s / 60:.0f} minutes; {needed_s * BATTERY_MARGIN / 60:.0f} are wanted.")
    if load_s > SLOW_LOAD_S:
        weak.append(f"The speech engine took {load_s:.0f} s to load; after a fault it would be away as long.")
    if alarms_heard is False:
        bad.append("The room's alarms can't be heard with this headset.")
    if bad or (weak and not other_way_in):
        return Readiness(DONT, tuple(bad + weak))
    if weak:
        return Readiness(GO_WITH_HELP, tuple(weak + notes))
    return Readiness(GO, tuple(notes))

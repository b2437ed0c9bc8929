"""The whole way of a sound: blocks of PCM in, accepted and refused utterances out."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from assistant.hearing.engines.recogniser import Engine, Hypothesis
from assistant.hearing.judging.judge import LONGEST_COMMAND_S, SHORTEST_S, Bars, Verdict, judge
from assistant.hearing.sound.frames import HOP, HOP_S, RATE_HZ, WINDOW, Framer, frame_end_s, frame_start_s
from assistant.hearing.sound.level import LevelMeter
from assistant.hearing.sound.mute import MuteGate, Speaking
from assistant.hearing.sound.segmenter import Limits, Segmenter, Span
from assistant.hearing.sound.subtract import Subtractor
from assistant.hearing.utterance import Utterance, Value
from assistant.hearing.values import parsing as values
from assistant.hearing.vocabulary.packs import Pack

CLIP_MARGIN_S = 1.0
CLIP_LONGEST_S = 12.0
VALUE_LIMITS = Limits(end_silence_s=0.5, longest_s=12.0)
LEAK_RISE_DB, LEAK_FALL_DB, LEAK_MARGIN_DB = 0.09, 0.01, 3.0   # a frame; rise and fall meet at the loudest tenth
SPOKEN_OVER_LONGEST_S = 1.6   # while the assistant speaks, only something this short can be "stop"


class Listener:
    """Feeds an engine with utterances and judges what comes back. Same sound, same utterances, same times.

    `latency_s`, `tail_s`, `closed_headset`: see MuteGate. `clock`: seconds, for computing times. Nothing is active until
    `set_active`.
    """

    def __init__(self, engine: Engine, pack: Pack, *, latency_s: float = 0.1, tail_s: float = 0.2,
                 closed_headset: bool = False, bars: Bars | None = None, limits: Limits | None = None,
                 clock: Callable[[], float] = time.perf_counter) -> None:
        engine.load(pack)
        self.engine, self.pack = engine, pack
        self.gate = MuteGate(latency_s, tail_s, closed_headset)
        self.bars = bars or Bars()
        self.level = LevelMeter()
        self._clock = clock
        self.engine_s = 0.0          # computing time spent in the engine so far
        self._command_limits = limits or Limits()
        self._active: frozenset[str] = frozenset()
        self._expect: str | None = None
        self._framer = Framer()
        self._segmenter = Segmenter(self._command_limits)
        self._raw = _History()
        self._pre: deque[np.ndarray] = deque(maxlen=int(self._command_limits.pre_roll_s / HOP_S) + 12)
        self._subtractor: Subtractor | None = None
        self._cleaned = bytearray()
        self._over_speech = False
        self._leak = _Leak(self._command_limits)
        self._given_up = ""
        self._early: _Early | None = None

    def set_active(self, word_ids: frozenset[str], expect: str | None = None) -> None:
        """What can be answered now. `expect`: None or one of `values.KINDS`; counts from the next utterance on."""
        if expect is not None and expect not in values.KINDS:
            raise ValueError(f"expect must be None or one of {values.KINDS}, not {expect!r}")
        self._active = frozenset(word_ids)
        self._expect = expect

    def mute(self, start_s: float, end_s: float, text: str) -> None:
        """The assistant speaks `text` from start_s to end_s of audio time."""
        self.gate.add(start_s, end_s, text)

    @property
    def position_s(self) -> float:
        return self._framer.samples / RATE_HZ

    def feed(self, pcm: bytes) -> list[Utterance]:
        """16 kHz mono int16, any length. Utterances whose verdict fell within this block."""
        out: list[Utterance] = []
        for at in range(0, len(pcm), 32_000) or (0,):
            out += self._feed(pcm[at:at + 32_000])
        return out

    def _feed(self, pcm: bytes) -> list[Utterance]:
        samples, spectra = self._framer.feed(pcm)
        self._raw.push(samples)
        self.level.push(samples)
        out: list[Utterance] = []
        powers = (spectra.real**2 + spectra.imag**2).astype(np.float32)
        run_from = 0
        for k in range(len(spectra)):
            event = self._step(powers[k])
            if event is None:
                self._pre.append(spectra[k])
            elif event == "start":
                self._open(spectra[k])
                run_from = k + 1
            elif event == "maybe":
                self._push(spectra[run_from:k + 1])
                run_from = k + 1
                self._decode_early()
            elif event == "end":
                self._push(spectra[run_from:k + 1])
                run_from = k + 1
                out.append(self._decide(frame_end_s(self._segmenter.frame)))
        if self._segmenter.span is not None:
            self._push(spectra[run_from:])
        return out

    def _step(self, power: np.ndarray) -> str | None:
        segmenter = self._segmenter
        if not self.gate.speaking(frame_end_s(segmenter.frame + 1)):
            if segmenter.span is None:
                segmenter.limits = self._command_limits
            self._leak.silent()
            return segmenter.step(power)
        if segmenter.span is None:
            segmenter.limits = self._leak.limits()
        event = segmenter.step(power)
        self._leak.sounding(segmenter)
        return event

    def flush(self) -> list[Utterance]:
        """The sound has ended: decide what is still open."""
        if self._segmenter.span is None:
            return []
        return [self._decide(self.position_s)]

    def close(self) -> None:
        self.engine.close()

    def _open(self, spectrum: np.ndarray) -> None:
        span = self._segmenter.span
        assert span is not None
        self._given_up, self._early = "", None
        self._over_speech = bool(self.gate.overlapping(frame_start_s(span.start), frame_end_s(self._segmenter.frame)))
        if not self._over_speech:
            self._segmenter.limits = VALUE_LIMITS if self._expect else self._command_limits
        self._cleaned.clear()
        noise = self._segmenter.floor.power
        self._subtractor = Subtractor(noise.copy() if self.engine.subtracts_noise else np.zeros_like(noise))
        self._push(np.stack([*self._pre, spectrum]))
        self._pre.clear()

    def _push(self, spectra: np.ndarray) -> None:
        span = self._segmenter.span
        if len(spectra) == 0 or self._subtractor is None or span is None or self._given_up:
            return
        if (self._segmenter.frame - span.start) * HOP_S > self._segmenter.limits.longest_s:
            self._given_up = "too long for a command"
        elif self._over_speech and (span.last_loud - span.start) * HOP_S > SPOKEN_OVER_LONGEST_S:
            self._given_up = "the assistant was speaking"
        if self._given_up:
            self._cleaned.clear()
            return
        self._cleaned += self._subtractor.push(spectra)

    def _decode(self, span: Span) -> _Early:
        begun = self._clock()
        raw = self._raw.cut(frame_start_s(span.start) - self._command_limits.pre_roll_s, frame_end_s(self._segmenter.frame))
        hypothesis = self.engine.decode(bytes(self._cleaned), self._expect, span.loud_s, raw)
        taken = self._clock() - begun
        self.engine_s += taken
        return _Early(span.last_loud, self._expect, hypothesis, frame_end_s(self._segmenter.frame), taken)

    def _decode_early(self) -> None:
        """Part of the silence has passed: decode now, so that the answer is ready when the rest has passed too."""
        span = self._segmenter.span
        if span is None or self._given_up or span.loud_s < SHORTEST_S:
            return
        if not self._expect and span.loud_s > LONGEST_COMMAND_S:
            return
        if self._over_speech and span.loud_s > SPOKEN_OVER_LONGEST_S:
            return
        self._early = self._decode(span)

    def _decide(self, decided_s: float) -> Utterance:
        span = self._segmenter.close()
        assert span is not None and self._subtractor is not None
        start_s, end_s = frame_start_s(span.start), frame_start_s(span.last_loud) + HOP_S
        spoken = self.gate.overlapping(start_s, end_s)
        if not self._given_up and spoken and end_s - start_s > SPOKEN_OVER_LONGEST_S:
            self._given_up = "the assistant was speaking"
        early, value = self._early, None
        if not self._expect and not self._given_up and span.loud_s > LONGEST_COMMAND_S:
            self._given_up = "too long for a command"
        if self._given_up:
            early, verdict = None, Verdict(None, False, self._given_up)
        elif span.loud_s < SHORTEST_S:
            early, verdict = None, Verdict(None, False, "too short for a word")
        else:
            if early is None or early.last_loud != span.last_loud or early.expect != self._expect:
                early = self._decode(span)
            verdict, value = self._judge(early.hypothesis, span, spoken, early.expect)
        self._cleaned.clear()
        self._subtractor = self._early = None
        self._segmenter.limits = self._command_limits
        hypothesis = early.hypothesis if early else Hypothesis("", None, 0.0)
        scores = {**hypothesis.scores, "peak_db": round(span.peak_db, 2), "loud_s": round(span.loud_s, 3)}
        return Utterance(
            start_s=round(start_s, 4), end_s=round(end_s, 4), decided_s=round(decided_s, 4), word=verdict.word, value=value,
            said=hypothesis.said, accepted=verdict.accepted, reason=verdict.reason, confidence=hypothesis.confidence,
            scores=scores, clip=self._raw.cut(start_s - CLIP_MARGIN_S, min(end_s + CLIP_MARGIN_S, decided_s)),
            compute_s=early.compute_s if early else 0.0,
            compute_after_s=max(0.0, early.at_s + early.compute_s - decided_s) if early else 0.0,
        )

    def _judge(self, hypothesis: Hypothesis, span: Span, spoken: list[Speaking], expect: str | None) -> tuple[Verdict, Value | None]:
        verdict = judge(hypothesis, self.pack, self._active, span.loud_s, self.bars)
        if spoken:
            sure = hypothesis.confidence >= self.engine.over_speech_bar
            if verdict.accepted and sure and self.gate.may_interrupt(verdict.word, hypothesis.form or "", spoken):
                return verdict, None
            return Verdict(verdict.word, False, "the assistant was speaking"), None
        if verdict.accepted or expect is None:
            return verdict, None
        # A refused command may still be the number that was asked for: every value is read back before it counts.
        value = values.parse(expect, hypothesis.value_text, self.pack.language)
        if value is None and hypothesis.form is not None:
            return verdict, None
        if value is None:
            return Verdict(None, False, f"not a {expect.removesuffix(' sign')} I could follow"), None
        return Verdict(None, True, ""), value


@dataclass(frozen=True)
class _Early:
    """A decoding and what it was of; still good if no more was said after it."""

    last_loud: int
    expect: str | None
    hypothesis: Hypothesis
    at_s: float
    compute_s: float


class _Leak:
    """How loud the assistant's own voice comes back in the microphone, so that a word said over it stands out of it
    instead of drowning in one long sound. Without a leak nothing changes."""

    def __init__(self, usual: Limits) -> None:
        self._usual = usual
        self._leak_db = 0.0
        self._floor: np.ndarray | None = None   # the room's noise when the line began

    def silent(self) -> None:
        self._floor = None

    def sounding(self, segmenter: Segmenter) -> None:
        """After each frame of the assistant's: follow the loudest tenth of them. Quickly up, slowly down, so that a
        word said over it counts little."""
        self._leak_db += LEAK_RISE_DB if segmenter.excess > self._leak_db else -LEAK_FALL_DB
        if self._floor is None:
            self._floor = segmenter.floor.power.copy()
        elif segmenter.span is None and self._raised:
            segmenter.floor.power = self._floor.copy()   # its own voice is no noise of the room

    @property
    def _raised(self) -> bool:
        return self._leak_db + LEAK_MARGIN_DB > self._usual.on_db

    def limits(self) -> Limits:
        if not self._raised:
            return self._usual
        on_db = self._leak_db + LEAK_MARGIN_DB
        return replace(self._usual, on_db=on_db, off_db=max(self._usual.off_db, on_db - 1.0))


class _History:
    """The last stretch of raw sound, for clips."""

    def __init__(self) -> None:
        self._blocks: deque[np.ndarray] = deque()
        self._held = 0
        self._end = 0

    def push(self, samples: np.ndarray) -> None:
        self._blocks.append(samples)
        self._held += len(samples)
        self._end += len(samples)
        while self._blocks and self._held - len(self._blocks[0]) > (CLIP_LONGEST_S + 2 * CLIP_MARGIN_S) * RATE_HZ:
            self._held -= len(self._blocks.popleft())

    def cut(self, start_s: float, end_s: float) -> bytes:
        first = self._end - self._held
        start = max(first, int(start_s * RATE_HZ), int((end_s - CLIP_LONGEST_S) * RATE_HZ))
        end = min(self._end, int(end_s * RATE_HZ))
        if end <= start:
            return b""
        whole = np.concatenate(self._blocks)
        return whole[start - first:end - first].astype("<i2").tobytes()


assert WINDOW > HOP

"""`measure speech`: how soon a line is ready and a sound stops, with the baseline from the same run."""

from __future__ import annotations

import json
import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import click

LINES = (
    "Open the outer door.",
    "Wipe the airlock from top to bottom.",
    "Wet the whole work tray with the sporicidal agent, then say confirm.",
    "The work area has four minutes left.",
    "I heard repeat. Say confirm if that is right.",
    "Remove your hands slowly and check each finger of the gauntlets.",
    "Contact complete. Wipe dry with a sterile wiper.",
    "That is not a command that I can take now.",
)
INTERRUPT_TRIALS = 200


@click.command("speech")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--rounds", default=5, show_default=True, help="How often each line is rendered.")
def command(as_json: bool, rounds: int) -> None:
    """Time from a line's text to its sound, cached and not, and from a stop to silence."""
    result = measure_speech(rounds)
    if as_json:
        click.echo(json.dumps(result, sort_keys=True))
        return
    for key, value in result.items():
        click.echo(f"{key}: {value}")


def measure_speech(rounds: int = 5) -> dict[str, object]:
    """Figures in milliseconds, each `{"p50", "p95", "n"}`.

    `line_ready_ms`: from text to clip when the line was prepared ahead; `baseline_uncached_ms`: the same
    lines rendered anew by the same voice; `disk_ready_ms`: kept by an earlier run. `interrupt_ms`: media
    time from a stop to the last sample that isn't silent, on a WAV file.
    """
    from assistant.speaking.cached_voice import CachedVoice
    from assistant.speaking.pyttsx3_voice import Pyttsx3Voice

    with tempfile.TemporaryDirectory(prefix="gauntlet-speech-") as name:
        folder = Path(name)
        raw = Pyttsx3Voice()
        started = time.perf_counter()
        raw.render(LINES[0])
        first_ms = (time.perf_counter() - started) * 1000
        uncached = _times(raw.render, LINES * rounds)
        with CachedVoice(raw, folder=folder / "clips") as voice:
            voice.prepare(LINES)
            voice.wait_prepared(60)
            prepared = _times(voice.render, LINES * rounds)
        with CachedVoice(Pyttsx3Voice(), folder=folder / "clips") as voice:
            from_disk = _times(voice.render, LINES)
        return {
            "line_ready_ms": _spread(prepared),
            "disk_ready_ms": _spread(from_disk),
            "baseline_uncached_ms": _spread(uncached),
            "first_line_ms": round(first_ms, 1),
            "ready_ratio": round(statistics.median(prepared) / statistics.median(uncached), 4),
            "interrupt_ms": _spread(_interrupt_times(folder)),
            "lines": len(LINES),
            "skipped": ["interrupt on a real headset: needs a sound device; device latency is to be added"],
        }


def _times(work: Callable[[str], object], lines: Sequence[str]) -> list[float]:
    times = []
    for line in lines:
        start = time.perf_counter()
        work(line)
        times.append((time.perf_counter() - start) * 1000)
    return times


def _interrupt_times(folder: Path) -> list[float]:
    """Stops at many places in one long sound; milliseconds until the file holds only silence."""
    import numpy as np
    import soundfile

    from assistant.speaking.wav_sink import WavSink

    tone = np.full(16_000, 8_000, dtype=np.int16)
    times = []
    for trial in range(INTERRUPT_TRIALS):
        path = folder / "stop.wav"
        sink = WavSink(path)
        handle = sink.play(tone, 16_000)
        stop_s = 0.1 + 0.8 * trial / INTERRUPT_TRIALS
        sink.advance_to(stop_s)
        handle.stop()
        sink.advance_to(1.0)
        sink.close()
        samples, rate_hz = soundfile.read(path, dtype="int16")
        times.append((int(np.flatnonzero(samples)[-1]) + 1) / rate_hz * 1000 - stop_s * 1000)
    return times


def _spread(values: Sequence[float]) -> dict[str, float]:
    ordered = sorted(values)
    return {
        "p50": round(statistics.median(ordered), 3),
        "p95": round(ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))], 3),
        "n": len(ordered),
    }

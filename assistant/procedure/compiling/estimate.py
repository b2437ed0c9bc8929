"""How long a step takes when its author didn't say: from its words, the area to be wiped, the kind of act."""

from __future__ import annotations

from assistant.calc.speech_length import speech_ms
from assistant.calc.wetting import shortest_lead_ms, wiping_ms
from assistant.language.sentences import say
from assistant.procedure.model.kinds import PlainStep

# The act itself, beyond listening, in ms. This project's judgement until a site measures its own.
ACT_MS = {
    "instruct": 8_000,
    "open": 5_000,
    "close": 5_000,
    "cycle": 4_000,
    "machine": 4_000,
    "move": 20_000,
    "check": 6_000,
    "reading": 10_000,
    "note": 14_000,
    "witness": 10_000,
    "wait": 0,
    "wet": 20_000,
    "patch": 120_000,
}
LISTENING_MS = 8_000  # to hear a request and begin; judgement
CALM_WIPING_CM2_S = 250.0  # 0.025 m2 a second with overlapping strokes; judgement


def least_lead_ms(name: str, area_cm2: int, wipe_speed_cm2_s: float | None, language: str = "en") -> int:
    """The shortest lead of a re-wet, in ms, for a surface called `name`: with the request's own words."""
    return shortest_lead_ms(
        request_ms=speech_ms(say(language, "rewet", name=name)),
        wiping_ms=wiping_ms(area_cm2=area_cm2, speed_cm2_s=wipe_speed_cm2_s or CALM_WIPING_CM2_S),
    )


def expected_ms(model: PlainStep, say: str, area_cm2: int, wipe_speed_cm2_s: float | None) -> int:
    """The author's figure, else listening plus the act. For wetting: from the first stroke to all wet."""
    if model.expected:
        return model.expected
    if model.do == "wet":
        return max(8_000, round(area_cm2 / (wipe_speed_cm2_s or CALM_WIPING_CM2_S) * 1000))
    return speech_ms(say) + ACT_MS[model.do]

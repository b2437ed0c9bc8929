"""From utterances to inputs: what the listener decided, on the session's clock, with its clip kept aside."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from assistant.hearing.utterance import Utterance
from assistant.session import inputs

ASSISTANT_SPOKE = "the assistant was speaking"  # the listener's reason for a sound over one of our own lines
KeepClip = Callable[[bytes, bool], str]


def heard_input(utterance: Utterance, offset_ms: int = 0, keep_clip: KeepClip | None = None) -> inputs.Input:
    """The core's input for one utterance. `offset_ms`: session time at audio position zero.
    `keep_clip(pcm, accepted)` stores the clip by the site's rule and returns its SHA-256."""
    clip = keep_clip(utterance.clip, utterance.accepted) if keep_clip and utterance.clip else (
        utterance.clip_sha256 if utterance.clip else ""
    )
    common: dict[str, Any] = {
        "started_ms": max(0, offset_ms + round(utterance.start_s * 1000)),
        "ended_ms": max(0, offset_ms + round(utterance.end_s * 1000)),
        "source": "voice",
        "said": utterance.said,
        "confidence_pm": round(utterance.confidence * 1000),
        "scores": tuple(sorted((name, round(score * 1000)) for name, score in utterance.scores.items())),
        "clip_sha256": clip,
    }
    known_but_not_now = bool(utterance.word) and utterance.reason.startswith("not now")
    if utterance.value is not None and utterance.accepted:
        return inputs.Value(utterance.value.text, **common)
    if utterance.word and (utterance.accepted or known_but_not_now):
        return inputs.Word(utterance.word, **common)
    reason = "while speaking" if utterance.reason == ASSISTANT_SPOKE else utterance.reason or "not understood"
    return inputs.Misheard(reason, utterance.word or "", **common)

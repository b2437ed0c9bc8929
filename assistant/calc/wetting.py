"""Wet time against contact time, and how much area and agent that takes.

A disinfectant works only while the surface stays visibly wet for the label's whole contact time, and may have to
be applied again if it dries first (EPA List N wording; US state agriculture department guidance). That wet time
before drying counts for nothing is the conservative reading, a judgement: no source says otherwise.
"""

from __future__ import annotations

# What a request to wet again must leave time for, beyond its own words. Common practice, no source: three people in
# ten wipe slower than the site's own figure, and whoever is busy with something else first puts it down.
SLOW_WIPING = 1.3
LETTING_GO_MS = 8_000


def wetting_passes(*, contact_ms: int, wet_ms: int, lead_ms: int, wiping_ms: int) -> int:
    """How often a surface must be wetted for an unbroken contact: 1 means no re-wetting. Raises ValueError.

    The contact runs from all wet, `wiping_ms` after the first stroke; drying from the first stroke. Each re-wet is
    asked for `lead_ms` before drying and makes the surface last `wet_ms` from its own first stroke.
    """
    if wet_ms <= 0:
        raise ValueError("a wet time must be positive")
    if wiping_ms < 0 or lead_ms < 0 or contact_ms < 0:
        raise ValueError("times can't be negative")
    if wiping_ms >= wet_ms:
        raise ValueError("the surface dries before it has been wetted all over")
    end = wiping_ms + contact_ms
    dries = wet_ms
    passes = 1
    while dries <= end:  # at equality dried wins
        step = wet_ms - lead_ms
        if step <= 0:
            raise ValueError("a re-wet is asked for before the surface has been wetted")
        dries += step
        passes += 1
    return passes


def shortest_lead_ms(*, request_ms: int, wiping_ms: int) -> int:
    """How long before drying a re-wet is asked for at the latest, so that slow people are in time too.

    `request_ms`: saying the request; `wiping_ms`: wiping the surface at the site's own speed. Common practice, no
    source (`SLOW_WIPING`, `LETTING_GO_MS`). Raises ValueError for negative times.
    """
    if request_ms < 0 or wiping_ms < 0:
        raise ValueError("times can't be negative")
    return request_ms + round(SLOW_WIPING * wiping_ms) + LETTING_GO_MS


def wiping_ms(*, area_cm2: int, speed_cm2_s: float) -> int:
    """Milliseconds to wipe an area with overlapping strokes at a speed; definition. Raises ValueError."""
    if area_cm2 < 0 or speed_cm2_s <= 0:
        raise ValueError("area and speed must be positive")
    return round(area_cm2 / speed_cm2_s * 1000)


def largest_area_cm2(*, wet_ms: int, speed_cm2_s: float, margin: float = 1.0) -> int:
    """The largest area that can be all wet at once: what is covered before the first stroke dries. Definition."""
    if margin <= 0:
        raise ValueError("the margin must be positive")
    return int(wet_ms / 1000 * speed_cm2_s * margin)


def agent_ml(*, area_cm2: int, coverage_ml_m2: float, passes: int = 1) -> float:
    """Millilitres for an area at a coverage, wetted `passes` times. Definition; 1 m2 = 10 000 cm2."""
    if area_cm2 < 0 or coverage_ml_m2 < 0 or passes < 1:
        raise ValueError("area, coverage and passes must be positive")
    return area_cm2 / 10_000 * coverage_ml_m2 * passes

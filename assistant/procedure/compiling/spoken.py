"""Fills the placeholders of spoken texts: names, times, limits; in English and Korean.

`{surface}` is the name; `{surface:을를}` adds the Korean particle that fits the name's last sound (`_` stands for none).
"""

from __future__ import annotations

import re
from typing import Any

from assistant.procedure.compiling.expand import FlatStep
from assistant.procedure.loading.problems import Problem, nearest
from assistant.procedure.model.kinds import in_language

_PLACEHOLDER = re.compile(r"\{([a-z_]+)(?::(\w)(\w))?\}")
_WORDS = {
    "en": {"h": ("hour", "hours"), "min": ("minute", "minutes"), "s": ("second", "seconds")},
    "ko": {"h": ("시간", "시간"), "min": ("분", "분"), "s": ("초", "초")},
}
CUES = {
    "en": {
        "new_wipe": "Take a new wipe.",
        "fresh_face": "Turn to a fresh face.",
        "new_faces": "Take a new wipe. Use {n} faces.",
        "fresh_faces": "Turn to {n} fresh faces.",
        "wipes": "Use {n} wipes, a fresh face each time.",
    },
    "ko": {
        "new_wipe": "새 와이프를 쓰세요.",
        "fresh_face": "깨끗한 면으로 바꾸세요.",
        "new_faces": "새 와이프를 쓰세요. 깨끗한 면 {n}개를 쓰세요.",
        "fresh_faces": "깨끗한 면 {n}개로 바꾸세요.",
        "wipes": "와이프 {n}장을 쓰세요.",
    },
}


def spoken_duration(ms: int, language: str = "en") -> str:
    """A time as spoken: 150 000 ms -> "2 minutes 30 seconds". Rounded up to whole seconds."""
    seconds = -(-ms // 1000)
    words = _WORDS.get(language, _WORDS["en"])
    parts = []
    for unit, size in (("h", 3600), ("min", 60), ("s", 1)):
        count, seconds = divmod(seconds, size)
        if count:
            one, many = words[unit]
            gap = "" if language == "ko" else " "
            parts.append(f"{count}{gap}{one if count == 1 else many}")
    return " ".join(parts) or f"0 {words['s'][1]}"


def spoken_name(item: Any, language: str) -> str:
    """How a voice says a named thing: its pronunciation if the file gives one, else its name."""
    return in_language(item.pronounce, language) or in_language(item.name, language)


def with_particle(word: str, with_final: str, without_final: str) -> str:
    """A Korean word with the particle that fits its last syllable; others take the one after a vowel."""
    last = word[-1:] if word else ""
    has_final = "가" <= last <= "힣" and (ord(last) - 0xAC00) % 28 != 0
    if with_final == "으" and has_final and (ord(last) - 0xAC00) % 28 == 8:
        has_final = False  # the particle "(으)로" takes its short form after a final r/l too
    return (word + (with_final if has_final else without_final)).replace("_", "")


def step_values(loaded: Any, flat: FlatStep, language: str) -> dict[str, str]:
    """What the placeholders of a step stand for."""
    e = loaded.enclosure
    m = flat.model
    values = {"enclosure": in_language(e.pronounce or e.name, language)}
    tables = {
        "surface": {s.id: s for s in e.surfaces},
        "agent": {a.id: a for a in loaded.agents.agents},
        "opening": {o.id: o for o in e.openings},
        "cycle": {c.id: c for c in e.cycles},
        "machine": {x.id: x for x in e.machines},
        "gauge": {g.id: g for g in e.gauges},
        "marking": {x.id: x for x in e.markings},
    }
    for name, table in tables.items():
        wanted = flat.surface if name == "surface" and flat.surface else getattr(m, name, None)
        if wanted in table:
            values[name] = spoken_name(table[wanted], language)
    surface = tables["surface"].get(flat.surface)
    if surface is not None:
        values["how"] = in_language(surface.how, language)
    if m.do == "wet" and m.agent in tables["agent"]:
        agent = tables["agent"][m.agent]
        values["contact"] = spoken_duration(m.contact if m.contact is not None else agent.contact, language)
    if m.do == "reading" and m.gauge in tables["gauge"]:
        gauge = tables["gauge"][m.gauge]
        values |= {
            "low": m.low or gauge.low or "",
            "high": m.high or gauge.high or "",
            "unit": m.unit or gauge.unit,
        }
    if m.do == "cycle":
        from assistant.procedure.compiling.cycles import cycle_duration_ms

        if m.cycle in tables["cycle"]:
            values["minutes"] = spoken_duration(cycle_duration_ms(tables["cycle"][m.cycle]), language)
    return values


def fill(text: str, values: dict[str, str]) -> str:
    """`text` with its placeholders filled; an unknown one is left standing (the loader has refused it)."""

    def one(match: re.Match[str]) -> str:
        value = values.get(match[1])
        if value is None:
            return match[0]
        return with_particle(value, match[2], match[3]) if match[2] else value

    return " ".join(_PLACEHOLDER.sub(one, text).split())


def spoken_fields(model: Any) -> list[tuple[str, dict[str, str]]]:
    """(field, text per language) of every spoken field a step has."""
    names = ("say", "brief", "why", "caution", "look_for", "claim")
    return [(n, t) for n in names if (t := getattr(model, n, None))]


def placeholder_problems(loaded: Any) -> list[Problem]:
    """Placeholders nobody fills, and braces that aren't placeholders."""
    problems: list[Problem] = []
    gaps = loaded.site.gaps
    for flat in (*loaded.steps, *(s for m in loaded.mishaps for s in m.steps)):
        for field, text in spoken_fields(flat.model):
            for language, words in text.items():
                values = step_values(loaded, flat, language)
                for match in _PLACEHOLDER.finditer(words):
                    if match[1] not in values:
                        gaps.note_text(flat.model, field)
                        if gaps.any_lost("parameter"):
                            continue
                        problems.append(
                            loaded.site.problem(
                                flat.model,
                                field,
                                f"Nothing fills {match[0]} in the {language} text of {flat.id}.",
                                "a placeholder of this kind of step",
                                nearest(match[1], values),
                            )
                        )
                if "{" in _PLACEHOLDER.sub("", words) or "}" in _PLACEHOLDER.sub("", words):
                    gaps.note_text(flat.model, field)
                    problems.append(
                        loaded.site.problem(
                            flat.model,
                            field,
                            f"A brace in the {language} text of {flat.id} isn't a placeholder.",
                            "a placeholder such as {surface}",
                        )
                    )
    return problems

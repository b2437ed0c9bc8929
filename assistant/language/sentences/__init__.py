"""The assistant's own lines, per language. Site texts come from the site's files."""

from __future__ import annotations

from assistant.language.sentences import en, ko

LANGUAGES = {"en": en.LINES, "ko": ko.LINES}
SPOKEN = {"en": en.SPOKEN, "ko": ko.SPOKEN}
SIGNS = {"en": en.SIGNS, "ko": ko.SIGNS}


def say(language: str, key: str, **values: object) -> str:
    """The line `key` with its placeholders filled; commands named in it as the language says them, or as
    `values` gives them. Raises KeyError for an unknown language or key."""
    return LANGUAGES[language][key].format(**{**SPOKEN[language], **values})


def duration(language: str, ms: int) -> str:
    """A length of time as spoken, whole seconds rounded up: "1 minute 20 seconds"."""
    seconds = -(-max(ms, 0) // 1000)
    minutes, seconds = divmod(seconds, 60)
    parts = []
    if minutes:
        parts.append(say(language, "minute" if minutes == 1 else "minutes", n=minutes))
    if seconds or not minutes:
        parts.append(say(language, "second" if seconds == 1 else "seconds", n=seconds))
    return " ".join(parts)


def listed(language: str, names: list[str]) -> str:
    """Names joined as spoken."""
    if len(names) < 2:
        return "".join(names)
    return say(language, "and", head=", ".join(names[:-1]), last=names[-1])

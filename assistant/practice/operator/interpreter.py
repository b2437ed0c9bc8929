"""Another language's lines turned into English, and a technician's English words turned back.

Nothing is guessed: the assistant's own lines are matched with the very templates they are made from, the site's
sentences with the same procedure's sentences in English. Which step is open or what is listened for stays unknown.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from functools import lru_cache
from string import Formatter

from assistant.hearing.vocabulary.packs import Pack, load_pack
from assistant.language.sentences import LANGUAGES, SPOKEN, say
from assistant.procedure.model.plan import Plan

ENGLISH = "en"
# Words of commands inside a template; the rest of the placeholders are texts.
_COMMANDS = frozenset(SPOKEN[ENGLISH])
# Never spoken: labels of screens.
_NOT_SPOKEN = re.compile(r"mode_|hands_")
# Texts of the site's files that are spoken or are parts of what is spoken.
_SITE_TEXTS = frozenset((
    "say", "brief", "why", "caution", "look_for", "claim", "title", "tell", "asks_which", "ask", "cautions", "name",
    "agent_name", "move_says", "stop_says", "enclosure_name",
))
_ANYTHING = ".+?"
_COMMAND = r"[^.,?!:]{1,24}?"
_PLAIN = r"[ -~\u00b0\u00b5\u00b2\u00b3]+?"  # numbers, lots, dates and units are written the same in each language


class Interpreter:
    """Between the language a session is held in and English. `heard`: the plan of the session; `known`: the same
    procedure in English. Raises UsageError where there is no such language pack."""

    def __init__(self, heard: Plan, known: Plan) -> None:
        self.language = heard.language
        self._pack = load_pack(heard.language)
        self._english: Pack = load_pack(ENGLISH)
        self._spoken = {word: forms[0] for word, forms in self._english.say.items()}
        self._site = dict(_pairs(heard, known))
        self._names = dict(_named(heard, known))
        self._names |= {
            heard.machine_names.get(m, m): known.machine_names.get(m, m) for m in heard.start_machines
        }
        self._offered: dict[str, str] = {}  # command id -> the word last offered for it
        self._templates = self._compiled()
        self._parse = lru_cache(maxsize=4096)(self._parse_anew)

    def hear(self, text: str) -> str:
        """`text` in English; unchanged where it can't be made out. Remembers the words it offers as answers."""
        found = self._parse(text.strip())
        if found is None:
            return text
        english, offered = found
        self._offered.update(offered)
        return english

    def say(self, english: str) -> str | None:
        """How a command's English words are said: as last offered, else as the language pack has it. None for a
        command that the pack has no word for; any other text unchanged."""
        word = self._english.word_of(english)
        if word is None:
            return english
        return self._offered.get(word) or next(iter(self._pack.say.get(word, ())), None)

    # Matching

    def _compiled(self) -> list[tuple[str, re.Pattern[str]]]:
        found = []
        for key, text in LANGUAGES[self.language].items():
            literal = sum(len(part) for part, *_ in Formatter().parse(text))
            if not _NOT_SPOKEN.match(key) and literal:
                found.append((literal, key, re.compile(self._pattern(text))))
        found.sort(key=lambda entry: -entry[0])  # the most telling first
        return [(key, pattern) for _, key, pattern in found]

    def _pattern(self, template: str) -> str:
        out, seen = [], set()
        for literal, field, _, _ in Formatter().parse(template):
            out.append(re.escape(literal))
            if field:
                out.append(f"(?P={field})" if field in seen else f"(?P<{field}>{self._shape(field)})")
                seen.add(field)
        return "".join(out)

    def _shape(self, field: str) -> str:
        """What a placeholder can hold."""
        if field in _COMMANDS:
            return _COMMAND
        if field in ("name", "head", "last"):
            return self._one_name()
        if field == "names":
            both = LANGUAGES[self.language]["and"].replace("{head}", "\0").replace("{last}", "")
            before, between = (re.escape(part) for part in both.split("\0"))
            one = self._one_name()
            # a list of what is still wet carries a time with each name
            one = rf"{one}(?:{self._wet_tail()})?"
            return rf"{before}{one}(?:, {one})*(?:{between}{one})?"
        if field == "time":
            return self._duration()
        if field in ("value", "limit", "n", "unit"):
            return _PLAIN
        return _ANYTHING

    def _one_name(self) -> str:
        return "(?:" + "|".join(re.escape(name) for name in sorted(self._names, key=len, reverse=True)) + ")"

    def _duration(self) -> str:
        lines = LANGUAGES[self.language]
        forms = {unit: "(?:" + "|".join(sorted({re.escape(lines[k]).replace(r"\{n\}", r"\d+") for k in keys},
                                               key=len, reverse=True)) + ")"
                 for unit, keys in (("m", ("minute", "minutes")), ("s", ("second", "seconds")))}
        return rf"(?:{forms['m']} {forms['s']}|{forms['m']}|{forms['s']})"

    def _wet_tail(self) -> str:
        tail = LANGUAGES[self.language]["wet_item"].partition("{name}")[2]
        return re.escape(tail).replace(r"\{time\}", self._duration())

    # Turning

    def _parse_anew(self, text: str) -> tuple[str, dict[str, str]] | None:
        """(English, command id -> offered word) of one or more sentences; None where a part isn't known."""
        if not text:
            return "", {}
        ends = [len(text), *[m.start() for m in re.finditer(" ", text)][::-1]]
        for end in ends:
            head, rest = text[:end], text[end:].strip()
            turned = self._one(head)
            if turned is None:
                continue
            after = self._parse(rest)
            if after is not None:
                return " ".join(filter(None, (turned[0], after[0]))), {**turned[1], **after[1]}
        return None

    def _one(self, text: str) -> tuple[str, dict[str, str]] | None:
        """One sentence of the site, or one line of the assistant's own."""
        if text in self._site:
            return self._site[text], {}
        for key, pattern in self._templates:
            found = pattern.fullmatch(text)
            filled = self._filled(found.groupdict()) if found else None
            if filled is not None:
                values, offered = filled
                return say(ENGLISH, key, **{**self._spoken, **values}), offered
        return None

    def _filled(self, groups: dict[str, str]) -> tuple[dict[str, str], dict[str, str]] | None:
        values, offered = {}, {}
        for field, text in groups.items():
            if field in _COMMANDS and text not in self._site:  # the enclosure's own name stands under the same key
                offered[field] = text
                continue
            turned = self._value(field, text)
            if turned is None:
                return None
            values[field] = turned
        return values, offered

    def _value(self, field: str, text: str) -> str | None:
        if field in ("person", "device", "value", "limit", "n", "unit"):
            return text
        if field == "time":
            numbers = re.findall(r"\d+", text)
            unit = LANGUAGES[self.language]["seconds"].replace("{n}", "")
            keys = ("minutes", "seconds") if len(numbers) == 2 else ("seconds",) if text.endswith(unit) else ("minutes",)
            return " ".join(say(ENGLISH, key if n != "1" else key[:-1], n=n) for key, n in zip(keys, numbers, strict=True))
        if field in ("name", "head", "last", "title", "first", "enclosure") and (text in self._names or text in self._site):
            return self._names.get(text) or self._site[text]
        if field == "names":
            return self._listed(text)
        if field == "words":
            return ", ".join(self._command(word.strip()) for word in text.split(","))
        if field in ("title", "first", "claim", "ask", "step", "reason", "tell", "choices", "position"):
            found = self._parse(text)
            return None if found is None else found[0]
        return None

    def _listed(self, text: str) -> str:
        names = re.findall(self._one_name(), text)
        tails = [self._value("time", t) for t in re.findall(self._duration(), text)]
        turned = [self._names[name] for name in names]
        if len(tails) == len(names):
            turned = [say(ENGLISH, "wet_item", name=n, time=t) for n, t in zip(turned, tails, strict=True)]
        if len(turned) < 2:
            return "".join(turned)
        return say(ENGLISH, "and", head=", ".join(turned[:-1]), last=turned[-1])

    def _command(self, form: str) -> str:
        word = self._pack.word_of(form)
        return self._spoken.get(word or "", form)


def _named(heard: Plan, known: Plan) -> Iterator[tuple[str, str]]:
    for table in ("surfaces", "openings", "cycles"):
        mine, theirs = getattr(heard, table), getattr(known, table)
        yield from ((mine[key].name, theirs[key].name) for key in mine)


def _pairs(heard: object, known: object, name: str = "") -> Iterator[tuple[str, str]]:
    """Every text of the site's files with the same text in the other language."""
    if isinstance(heard, str):
        if name in _SITE_TEXTS and heard and isinstance(known, str):
            yield " ".join(heard.split()), " ".join(known.split())
    elif is_dataclass(heard):
        for field in fields(heard):
            yield from _pairs(getattr(heard, field.name), getattr(known, field.name), field.name)
    elif isinstance(heard, dict) and isinstance(known, dict):
        for key in heard:
            if key in known:
                yield from _pairs(heard[key], known[key], name)
    elif isinstance(heard, tuple) and isinstance(known, tuple):
        for mine, theirs in zip(heard, known, strict=False):
            yield from _pairs(mine, theirs, name)

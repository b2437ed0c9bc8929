"""Rules about words: length of speech, vocabulary, languages, options, steps nobody reaches."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from typing import Any

from assistant.calc.speech_length import sentence_ms, sentences, speech_ms
from assistant.language import vocabulary as words
from assistant.procedure.compiling.languages import missing_in
from assistant.procedure.compiling.spoken import spoken_fields
from assistant.procedure.model.kinds import Check, Node
from assistant.procedure.rules.base import NOTE, WARNING, Hit, rule
from assistant.procedure.rules.walk import Context

MAX_SENTENCE_MS = 6_000
MAX_STEP_MS = 20_000
_CLOSE = 0.8
# Words that order something, besides whatever the procedure's own sentences begin with.
_ORDERS = frozenset(
    "bag bin call change check close cut fold hold let lift lock look lower open pull push put read rinse say set start "
    "take tell tie turn wait wash wear wipe write".split()
)
# First words of a sentence that order nothing.
_NO_ORDERS = frozenset(("it", "both", "the", "that", "this", "these", "you", "now", "never", "no", "every", "do", "not"))


def _field(model: Node, field: str, language: str) -> str:
    raw = model._raw if isinstance(model._raw, dict) else {}
    return f"{field}.{language}" if isinstance(raw.get(field), dict) else field


@rule("sentence-too-long", "A spoken sentence takes at most 6 s.", source="this project's own figure")
def sentence_too_long(c: Context) -> Iterable[Hit]:
    seen = set()
    for flat in c.everything():
        step = c.step(flat)
        for field in ("say", "caution", "look_for", "why"):
            for sentence in sentences(getattr(step, field)):
                if (
                    sentence_ms(sentence) > MAX_SENTENCE_MS
                    and (flat.model.file, flat.model.line, field) not in seen
                ):
                    seen.add((flat.model.file, flat.model.line, field))
                    yield (
                        flat.model,
                        _field(flat.model, field, "en"),
                        f"{flat.id}: this takes {sentence_ms(sentence) / 1000:.1f} s: {sentence}",
                        "Split it.",
                    )


@rule("step-too-long", "A step's speech takes at most 20 s.", source="this project's own figure")
def step_too_long(c: Context) -> Iterable[Hit]:
    for flat in c.everything():
        step = c.step(flat)
        total = speech_ms(" ".join((step.say, step.caution, step.look_for)))
        if total > MAX_STEP_MS:
            yield flat.model, "say", f"{flat.id} takes {total / 1000:.0f} s to say.", "Make two steps of it."


@rule("one-action", "A sentence asks for one action.", WARNING, "this project's own rule")
def one_action(c: Context) -> Iterable[Hit]:
    joiners = (" and then ", ", then ", " after that ", "; ")
    orders = {s.split()[0].lower() for f in c.everything() for s in sentences(f.model.say["en"]) if s[-1] != "?"}
    orders = ({w for w in orders if w.isalpha()} | _ORDERS) - _NO_ORDERS

    def two(text: str) -> bool:
        text = text.lower()
        joined = (text.split(" and ", 1)[1].split() or [""])[0] if " and " in text else ""
        return any(j in text for j in joiners) or joined.strip(".,") in orders

    told: list[tuple[Node, str, str, str]] = [(f.model, _field(f.model, "say", "en"), f.model.say["en"], f.id) for f in c.everything()]
    told += [(c.enclosure, f"moves.{k}", text["en"], f"the move {k}") for k, text in c.enclosure.moves.items()]
    told += [(c.enclosure, f"stop_says.{i}", t["en"], "stop_says") for i, t in enumerate(c.enclosure.stop_says)]
    seen = set()
    for node, field, text, name in told:
        if any(two(s) for s in sentences(text) if s[-1] != "?") and (node.file, node.line, field) not in seen:
            seen.add((node.file, node.line, field))
            yield node, field, f"{name} asks for two things in a sentence.", "Split it."


def _questions(c: Context) -> Iterable[tuple[Any, str, str, str]]:
    """(node, field, name, text) of whatever is answered with yes or no."""
    for flat, m in c.everywhere(Check):
        yield m, _field(m, "say", "en"), flat.id, m.say["en"]
    for option in c.procedure.options:
        yield option, _field(option, "ask", "en"), option.id, option.ask["en"]


@rule("one-question", "A question asks one thing: yes or no must answer all of it.", source="this project's own rule")
def one_question(c: Context) -> Iterable[Hit]:
    seen = set()
    for node, field, name, text in _questions(c):
        asked = [s for s in sentences(text) if s.endswith("?")]
        both = any(re.search(r"\b(and|or)\b|,", s, re.IGNORECASE) for s in asked)
        if (both or len(asked) > 1) and (node.file, node.line) not in seen:
            seen.add((node.file, node.line))
            yield (
                node, field, f"{name} asks two things in one question.",
                "Ask one thing, or let an order name the parts: Check coat and gloves. Is all of it on?",
            )


# First words of what is to be seen, not of what is to be done.
_FINDINGS = frozenset(("no", "every", "nothing", "it", "the", "both", "all", "there", "each", "that"))


@rule("look-for-order", "What to look for is said as something to do, not as a finding before the work.", WARNING)
def look_for_order(c: Context) -> Iterable[Hit]:
    seen = set()
    for flat in c.everything():
        text = (flat.model.look_for or {}).get("en", "")
        if text and text.split()[0].lower() in _FINDINGS and (flat.model.file, flat.model.line) not in seen:
            seen.add((flat.model.file, flat.model.line))
            yield (
                flat.model, _field(flat.model, "look_for", "en"), f"{flat.id} says before the work what is found after it.",
                "Begin with what to do: See that ..., Go on until ...",
            )


@rule("unknown-word", "A mishap's word belongs to the vocabulary; a branch without one is led into by a question.")
def unknown_word(c: Context) -> Iterable[Hit]:
    known = set(words.MISHAPS)
    led_into = {getattr(s.model, field, "") for s in c.everything() for field in ("on_no", "on_outside")}
    for m in c.loaded.mishaps:
        if not m.model.word:
            if f"mishap:{m.id}" not in led_into:
                yield m.model, "", f"Nothing leads into {m.id}.", f"Give it a word, or a check with on_no: mishap:{m.id}."
        elif m.model.word not in known:
            close = difflib.get_close_matches(m.model.word, known, 1)
            yield (
                m.model,
                "word",
                f"{m.model.word} isn't in the vocabulary.",
                f"Did you mean {close[0]}?" if close else "Use one of the vocabulary's words.",
            )


def _sound(word: str) -> str:
    """A crude key of how an English word sounds: doubled letters, silent ones and near sounds made equal."""
    word = word.lower().replace("_", " ")
    for old, new in (
        ("ph", "f"),
        ("ck", "k"),
        ("c", "k"),
        ("q", "k"),
        ("z", "s"),
        ("x", "ks"),
        ("gh", ""),
        ("wh", "w"),
        ("v", "f"),
        ("d", "t"),
        ("b", "p"),
        ("ee", "i"),
        ("ea", "i"),
        ("oo", "u"),
        ("y", "i"),
    ):
        word = word.replace(old, new)
    out: list[str] = []
    for ch in word:
        if not out or out[-1] != ch:
            out.append(ch)
    return "".join(out).rstrip("e")


@rule(
    "sounds-alike",
    "A word the site adds doesn't sound like another active word.",
    source="difflib ratio of a sound key above 0.8; this project's own figure",
)
def sounds_alike(c: Context) -> Iterable[Hit]:
    said: list[tuple[str, str]] = [(word, word) for word in sorted(words.ALL)]
    for i, entry in enumerate(c.enclosure.site_words):
        own, equals, form = (part.strip() for part in entry.partition("="))
        word = form if equals else own
        for other, of in said:
            if of != own and difflib.SequenceMatcher(None, _sound(word), _sound(other)).ratio() > _CLOSE:
                yield (c.enclosure, f"site_words.{i}", f"{word} sounds like {other}.", "Choose another word.")
                break
        said.append((word, own))


@rule("site-words", "A word the site adds says for which command it stands, and how it is said.")
def site_words(c: Context) -> Iterable[Hit]:
    """Its sound is held to the dictionary and to every other word by `check`, which asks hearing."""
    for i, entry in enumerate(c.enclosure.site_words):
        own, equals, form = (part.strip() for part in entry.partition("="))
        if not equals or not form or own not in words.ALL:
            close = difflib.get_close_matches(own, sorted(words.ALL), 1)
            yield (
                c.enclosure,
                f"site_words.{i}",
                f"{entry} isn't COMMAND=WORDS.",
                f"Did you mean {close[0]}=...?" if close else "Write it as repeat=once more please.",
            )


@rule("step-unreachable", "Every step is reached under some answers.")
def step_unreachable(c: Context) -> Iterable[Hit]:
    reached = {v.flat.id for v in c.visits()}
    for flat in c.loaded.steps:
        if flat.id not in reached:
            yield flat.model, "when", f"No answers lead to {flat.id}.", "Correct its when."


@rule("option-unused", "Every question asked at the start changes something.", WARNING)
def option_unused(c: Context) -> Iterable[Hit]:
    used = {o for s in c.loaded.steps for o, _ in s.when}
    for option in c.procedure.options:
        if option.id not in used:
            yield option, "id", f"No step depends on {option.id}.", "Take the question out."


@rule("wording-incomplete", "A step worded in a second language has all its spoken fields in it.", NOTE)
def wording_incomplete(c: Context) -> Iterable[Hit]:
    seen = set()
    for flat in c.everything():
        fields = spoken_fields(flat.model)
        languages = {language for _, text in fields for language in text}
        for language in sorted(languages - {"en"}):
            for field, text in fields:
                key = (flat.model.file, flat.model.line, field, language)
                if language not in text and key not in seen:
                    seen.add(key)
                    yield flat.model, field, f"{flat.id}: {field} has no {language} wording.", "Add it."


@rule("language-incomplete", "In every language a procedure names, all its spoken texts are worded.")
def language_incomplete(c: Context) -> Iterable[Hit]:
    for language in c.procedure.languages:
        for t in missing_in(c.loaded, language):
            yield t.node, t.field, f"{t.owner}: {t.field} has no {language} wording.", f"Add it, or take {language} out."


@rule("brief-longer", "The brief form is shorter than the full one.", WARNING, "definition")
def brief_longer(c: Context) -> Iterable[Hit]:
    for flat in c.everything():
        step = c.step(flat)
        if step.brief and speech_ms(step.brief) > speech_ms(step.say):
            yield (
                flat.model,
                "brief",
                f"{flat.id}: the brief form is longer than the full one.",
                "Shorten it.",
            )


@rule("claim-missing", "What is read back or witnessed says what it states.")
def claim_missing(c: Context) -> Iterable[Hit]:
    for flat in c.everything():
        m = flat.model
        if (m.do == "witness" or getattr(m, "policy", "single") != "single") and not m.claim:
            yield m, "", f"{flat.id} is read back without saying what is claimed.", "Add claim."

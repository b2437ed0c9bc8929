"""The interpreter against the wording itself: what a Korean line says is what the English line of the same key says."""

from __future__ import annotations

import re
from string import Formatter

import pytest

from assistant.hearing.vocabulary.packs import load_pack
from assistant.language.sentences import LANGUAGES, SPOKEN, say
from assistant.practice.operator.interpreter import Interpreter
from assistant.practice.operator.keys_person import KeysPerson
from assistant.procedure.compiling.compile import compile_plan
from assistant.procedure.loading.load import load_procedure
from assistant.session import inputs

KO = compile_plan(load_procedure("gb-2-light-clean"), "ko")
EN = compile_plan(load_procedure("gb-2-light-clean"), "en")
NAME = KO.surfaces["left_wall"].name, EN.surfaces["left_wall"].name
OTHER = KO.openings["inner_door"].name, EN.openings["inner_door"].name
TORN = KO.mishaps["torn-glove"].title, EN.mishaps["torn-glove"].title
DROPPED = KO.mishaps["dropped-item"].title, EN.mishaps["dropped-item"].title
STEP = KO.step("load.hang_in").say, EN.step("load.hang_in").say
# placeholder -> the same thing in both languages
FILLED = {
    "title": DROPPED, "enclosure": (KO.enclosure_name, EN.enclosure_name), "ask": (KO.options[0].ask, EN.options[0].ask),
    "claim": (KO.step("load.open_inner").claim, EN.step("load.open_inner").claim), "name": NAME, "head": NAME,
    "last": OTHER, "first": TORN, "names": (say("ko", "and", head=NAME[0], last=OTHER[0]), say("en", "and", head=NAME[1], last=OTHER[1])),
    "time": ("1분 20초", "1 minute 20 seconds"), "step": STEP, "words": ("오케이, 아니요", "affirmative, negative"),
    "choices": (say("ko", "which_choice", n=1, name=NAME[0]), say("en", "which_choice", n=1, name=NAME[1])), "n": ("3", "3"),
    "value": ("-40 Pa", "-40 Pa"), "limit": ("-20", "-20"), "person": ("Kim", "Kim"),
    "reason": (say("ko", "not_now_paused"), say("en", "not_now_paused")), "tell": STEP, "device": ("headset", "headset"),
    "position": (say("ko", "open"), say("en", "open")), "unit": ("Pa", "Pa"),
}
# Parts of lines and labels of screens, never spoken alone.
COMMANDS = [{word: load_pack(x).say[word][0] for word in SPOKEN[x]} for x in ("ko", "en")]
SPOKEN_KEYS = sorted(k for k in LANGUAGES["ko"] if not re.match(r"mode_|hands_", k) and k not in ("tell", "mishap", "and"))


def _filled(key: str, language: int) -> str:
    template = LANGUAGES[("ko", "en")[language]][key]
    named = {name for _, name, _, _ in Formatter().parse(template) if name} - set(SPOKEN["en"]) | {"enclosure"}
    values = {name: FILLED[name][language] for name in named} if key == "begin" else {
        name: FILLED[name][language] for name in named - {"enclosure"}}
    return say(("ko", "en")[language], key, **{**COMMANDS[language], **values})


@pytest.mark.parametrize("key", SPOKEN_KEYS)
def test_each_line_turns_into_the_english_line_of_its_key(key: str) -> None:
    heard = Interpreter(KO, EN).hear(_filled(key, 0))
    same_korean = [k for k in SPOKEN_KEYS if _filled(k, 0) == _filled(key, 0)]
    assert heard in {_filled(k, 1) for k in same_korean}


@pytest.mark.parametrize("name", ["gb-2-light-clean", "gb-2-rigorous-clean", "gb-2-end-of-day"])
def test_each_sentence_of_the_site_turns_into_its_english_one(name: str) -> None:
    ko, en = (compile_plan(load_procedure(name), language) for language in ("ko", "en"))
    interpreter = Interpreter(ko, en)
    texts = dict.fromkeys(s.say for s in ko.steps)
    english = {text: {b.say for a, b in zip(ko.steps, en.steps, strict=True) if a.say == text} for text in texts}
    odd = {text: interpreter.hear(text) for text in texts if text and interpreter.hear(text) not in english[text]}
    assert not odd


def test_a_sentence_it_does_not_know_stays_as_it_is() -> None:
    assert Interpreter(KO, EN).hear("창고에 불이 켜져 있습니다.") == "창고에 불이 켜져 있습니다."


def test_an_answer_is_said_with_the_word_that_was_offered() -> None:
    interpreter = Interpreter(KO, EN)
    assert interpreter.say("affirmative") == "오케이"
    interpreter.hear(say("ko", "say_confirm", confirm="좋습니다"))
    assert interpreter.say("affirmative") == "좋습니다"
    assert interpreter.say("torn glove") is None  # the pack has no word for it
    assert interpreter.say("오늘 덥네요") == "오늘 덥네요"


def test_the_colleague_types_a_value_of_the_kind_asked_for_after_being_told() -> None:
    colleague = KeysPerson(typing_ms=2000)
    colleague.hear("Read the lot on the pack of disinfectant. Say the lot.")
    assert colleague.told("bravo four one seven", 10_000)
    assert colleague.keys(11_999) == []
    assert colleague.keys(12_000) == [inputs.Value("B417", source="keys", said="B417")]
    assert colleague.keys(20_000) == []
    assert not colleague.told("it is rather warm", 21_000)

"""What a line in short wording asks for: there the words that answer are left out, since a trained person knows them."""

from __future__ import annotations

import re
from dataclasses import replace

from assistant.practice.operator import understanding as u

SHORT, FULL = "Short wording.", "Full wording."  # said when the wording changes
# Lines that answer or announce, in short wording too.
_ANSWERS = re.compile(
    r"(: (ready|finished|wet again)|to stay wet|left|started\. .*|no longer counts|is noted|for the supervisor)\.$"
    r"|^(taken back|witnessed|to be done again|we (go on|do)|yes\.|no\.|you can say|wet now|nothing|after this|practice"
    r"|this is|i (speak|was)|use the)|: .* left\.$",
    re.IGNORECASE,
)


def asked_in_short(meaning: u.Meaning, names: u.Names, yes: str, no: str) -> u.Meaning | None:
    """What a line that asks for nothing in so many words (kind NEWS) asks for in short wording; None where it only
    answers or announces. `yes`, `no`: the words that answer it."""
    if _ANSWERS.search(meaning.text):
        return None
    asked = u.at_that(meaning.text, yes, no)
    surface = names.find(names.surfaces, meaning.text)
    if asked.kind == u.DO and surface and names.find(names.agents, meaning.text):
        asked = replace(asked, kind=u.WIPE, what=surface)
    return asked

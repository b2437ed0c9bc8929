"""Format-bound grammars for spoken numbers, lots and dates (JSGF), and the words they use."""

from __future__ import annotations

import re

from assistant.hearing.values.spoken_words import DIGITS, ICAO, MONTHS, ORDINALS, TEENS, TENS

KINDS = ("number", "lot", "date", "number sign", "lot sign")


def jsgf(kind: str, language: str) -> str:
    """The grammar for one kind of value. Raises KeyError for an unknown kind."""
    digit = " | ".join(DIGITS)
    teens = " | ".join(TEENS)
    tens = " | ".join(TENS)
    small = f"""<digit> = {digit};
<teen> = {teens};
<tens> = {tens};
"""
    bodies = {
        "number": small + """<whole> = <teen> | <tens> [<digit>] | <digit>+ | <digit> hundred [ [and] ( <digit> | <teen> | <tens> [<digit>] ) ];
public <number> = [minus | plus] <whole> [point <digit>+];
""",
        "lot": small + f"""<letter> = {" | ".join(ICAO)};
public <lot> = <letter>+ [dash] [<digit>+ [dash] [<letter>]] | <digit>+ [<letter>];
""",
        "date": small + f"""<day> = {" | ".join(ORDINALS)} | (twenty | thirty) ( {" | ".join(list(ORDINALS)[:9])} ) | <teen> | <digit> | (twenty | thirty) [<digit>];
<month> = {" | ".join(MONTHS)};
<year> = twenty ( <teen> | <tens> [<digit>] );
public <date> = [<day>] [of] <month> <year> | <month> <day> <year>;
""",
        "number sign": f"public <sign> = {digit} | minus | point;\n",
        "lot sign": f"public <sign> = {digit} | {' | '.join(ICAO)} | dash;\n",
    }
    return f"#JSGF V1.0;\ngrammar {kind.replace(' ', '_')};\n{bodies[kind]}"


def words(language: str) -> set[str]:
    """Every word the grammars use."""
    found: set[str] = set()
    for kind in KINDS:
        for line in jsgf(kind, language).splitlines()[2:]:
            body = re.sub(r"<[^>]*>", " ", line.split("=", 1)[1]) if "=" in line else ""
            found |= set(re.findall(r"[a-z-]+", body))
    return found

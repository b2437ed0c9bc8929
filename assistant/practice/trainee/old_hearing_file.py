"""Reads what the words drill kept before there was one hearing profile: `hearing.json` beside a trainee's evidence."""

from __future__ import annotations

import json
from pathlib import Path

from assistant.errors import SiteFileError
from assistant.hearing.judging.judge import Bars
from assistant.hearing.people.profile import Profile

FILE = "hearing.json"


def old_profile(folder: Path, person: str) -> Profile | None:
    """The profile in a trainee's folder, as of today's form; None where there is none. It held no bars and no level, so
    those are the standard ones, and it was of English only. Raises SiteFileError for a damaged file."""
    path = folder / FILE
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        first = {str(r["word"]): str(r["form"]) for r in reversed(data["results"])}
        forms = {str(word): str(form) for word, form in data["forms"].items()}
        wrong = tuple(word for word, form in forms.items() if form != first.get(word))
        return Profile(
            person, "en", 0.0, Bars(), wrong, len(forms), {w: (forms[w],) for w in wrong if forms[w]}, str(data["engine"]),
            tuple(data.get("louder", ())), float(data.get("snr_db", 0.0)),
        )
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise SiteFileError(
            "The older hearing profile can't be read.", where=str(path), try_next="assistant profile NAME makes it anew",
        ) from error

"""Reads what the words drill kept before there was one hearing profile: `hearing.json` beside a trainee's evidence."""

from __future__ import annotations

import json
from pathlib import Path

from assistant.errors import SiteFileError, UsageError
from assistant.hearing.judging.judge import Bars
from assistant.hearing.people.profile import Profile

FILE = "hearing.json"


def trainees_folder() -> Path:
    """Where trainees' evidence is kept, and beside it the older profiles."""
    import platformdirs

    return Path(platformdirs.user_data_dir("gauntlet", appauthor=False)) / "trainees"


def old_name(name: str) -> str:
    """The folder such a person had before: "-" for every sign, so that several names shared one. Raises UsageError for
    a name without a letter or digit."""
    require_name(name)
    return "".join(c if c.isalnum() or c in "-_" else "-" for c in name.strip().lower())[:80]


def require_name(name: str) -> None:
    """Raises UsageError for a name without a letter or digit."""
    if not any(c.isalnum() for c in name):
        raise UsageError("The trainee needs a name.", try_next="--trainee NAME")


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

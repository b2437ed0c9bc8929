"""Which folder holds a trainee's evidence: another name, another folder.

The name is written without differences of case and spacing, as accounts are told apart, and escaped as in a web address
(RFC 3986, percent-encoding), with "=" for "%" so that it can be part of one, and can be read off the folder again.
"""

from __future__ import annotations

import json
import re
import unicodedata
from pathlib import Path
from urllib.parse import quote

from assistant.errors import UsageError
from assistant.hearing.people.old_profile import old_name, require_name

MOST_BYTES = 200  # of a folder's name; file systems allow 255
_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?")  # Windows device names


def folded(name: str) -> str:
    """A name without differences of case and spacing."""
    return " ".join(unicodedata.normalize("NFC", name).casefold().split())


def folder_name(name: str) -> str:
    """The name of a trainee's folder; `urllib.parse.unquote`, with "%" for "=", gives the folded name again. Raises UsageError for a name
    without a letter or digit, or one too long for a folder."""
    plain = folded(name)
    require_name(plain)
    out = quote(plain, safe="").replace("-", "%2D").replace("~", "%7E").replace("%", "=")  # no "-": older folders have it for any sign
    if out[0] == "." or _RESERVED.fullmatch(out):
        out = f"={ord(out[0]):02X}{out[1:]}"
    if out[-1] == ".":
        out = out[:-1] + "=2E"
    if len(out) > MOST_BYTES:
        raise UsageError("The trainee's name is too long.", expected=f"at most {MOST_BYTES} bytes once it is escaped",
                         try_next="--trainee with a shorter name")
    return out


def trainee_folder(root: Path, name: str) -> Path:
    """Where a trainee's evidence is and goes. The older folder stays theirs where every record in it names them alone.
    Raises UsageError as `folder_name` does."""
    new, old = root / folder_name(name), root / old_name(name)
    return old if old != new and not new.exists() and names_in(old) == {folded(name)} else new


def shared_folder(root: Path, name: str) -> Path | None:
    """The older folder whose records name this trainee and others too: nobody's evidence any more. None without one."""
    old = root / old_name(name)
    names = names_in(old) if old != root / folder_name(name) else set()
    return old if len(names) > 1 and folded(name) in names else None


def names_in(folder: Path) -> set[str]:
    """The folded names that the practice records booked in a folder give. A record that is gone gives none."""
    found: set[str] = set()
    try:
        booked = (folder / "sessions.jsonl").read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return found
    for line in booked:
        try:
            with (Path(json.loads(line)["record"]) / "record.jsonl").open(encoding="utf-8") as record:
                found.add(folded(str(json.loads(record.readline())["data"]["technician"])))
        except (OSError, ValueError, KeyError, TypeError):
            continue
    return found

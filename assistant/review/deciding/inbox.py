"""How a witness's statement reaches a running session: one signed file in the session's `inbox/` folder.

The station looks there, checks the signature with the site's keys, gives the core its `Witness` input and
takes
the file away. The pages and the station share nothing else.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from pathlib import Path

from assistant.errors import StorageError
from assistant.record.lines.canonical import NotCanonical, from_canonical, to_canonical
from assistant.record.lines.safe_text import printable
from assistant.record.signing.keys import UnlockedKey, key_id_of, signature_holds
from assistant.record.storage.files import OsFiles, make_folders, write_whole

FOLDER = "inbox"
_MOST_BYTES = 8_192
_MOST_FILES = 50


@dataclass(frozen=True)
class Statement:
    """What a witness stated. `step`: the step it is about; `wall`: when, RFC 3339; `path`: its file."""

    session: str
    step: str
    person: str
    statement: str
    wall: str
    key_id: str
    path: Path


def leave_statement(
    folder: Path, key: UnlockedKey, *, session: str, step: str, statement: str, wall: str
) -> Path:
    """Put a signed statement where the station finds it. Raises StorageError."""
    body = {
        "format": 1,
        "kind": "witness",
        "session": session,
        "step": step,
        "person": key.name,
        "statement": statement,
        "wall": wall,
        "key_id": key.key_id,
        "public_key": key.entry.public_key,
    }
    held = {**body, "signature": key.sign(to_canonical(body))}
    path = folder / FOLDER / f"witness-{secrets.token_hex(8)}.json"
    try:
        make_folders(OsFiles(), path.parent)
        write_whole(OsFiles(), path, to_canonical(held))
    except OSError as error:
        raise StorageError("The statement can't be written.", where=str(path)) from error
    return path


def read_statements(folder: Path, public_keys: dict[str, str], session: str) -> list[Statement]:
    """The statements that wait, oldest first; a file that isn't a good one (wrong session, key, signature)
    is left
    out. The caller deletes what it took."""
    found = []
    place = folder / FOLDER
    paths = sorted(place.glob("witness-*.json"))[:_MOST_FILES] if place.is_dir() else []
    for path in paths:
        try:
            if path.is_symlink() or path.stat().st_size > _MOST_BYTES:
                continue
            held = from_canonical(path.read_bytes())
            signature = held.pop("signature")
            good = (
                held["format"] == 1
                and held["kind"] == "witness"
                and held["session"] == session
                and public_keys.get(held["key_id"]) == held["public_key"]
                and key_id_of(bytes.fromhex(held["public_key"])) == held["key_id"]
                and signature_holds(held["public_key"], to_canonical(held), signature)
            )
            if good:
                found.append(
                    Statement(
                        session,
                        str(held["step"]),
                        printable(held["person"], 120),
                        printable(held["statement"], 400),
                        str(held["wall"]),
                        held["key_id"],
                        path,
                    )
                )
        except (OSError, NotCanonical, KeyError, TypeError, ValueError, AttributeError):
            continue
    return sorted(found, key=lambda s: s.wall)

"""Whether a line after the seal holds the signature it shows, and which signatures still stand."""

from __future__ import annotations

from dataclasses import dataclass

from assistant.record.lines.chain import SIGNATURE_ZEROS, ZEROS, blank
from assistant.record.lines.envelope import Line
from assistant.record.lines.safe_text import printable
from assistant.record.reader import Record
from assistant.record.signing.keys import key_id_of, signature_holds


@dataclass(frozen=True)
class SignatureCheck:
    """One line after the seal. `known`: its key is in the registry; None when no registry was given."""

    line: int
    kind: str
    name: str
    key_id: str
    meaning: str
    wall: str
    known: bool | None
    problem: str = ""


def check_signature(line: Line, public_keys: dict[str, str] | None = None) -> SignatureCheck:
    """Check the signature in a `record_signed` or `record_withdrawn` line. Never raises."""
    data = line.data
    parts = ("name", "key_id", "public_key", "signature", "digest", "meaning")
    text = {key: value for key in parts if isinstance(value := data.get(key), str)}
    if len(text) < len(parts):
        return SignatureCheck(line.seq, line.kind, "", "", "", line.wall, None, "lacks the parts of a signature")
    problem = ""
    message = message_of(line.raw, text["signature"], text["digest"])
    if message is None or not signature_holds(text["public_key"], message, text["signature"]):
        problem = "its signature doesn't fit its bytes"
    elif key_id_of(bytes.fromhex(text["public_key"])) != text["key_id"]:
        problem = "its key id doesn't fit its key"
    known = None if public_keys is None else public_keys.get(text["key_id"]) == text["public_key"]
    if known is False and not problem:
        problem = "it is signed by a key that isn't in the registry"
    name, meaning = printable(text["name"], 120), printable(text["meaning"], 400)
    return SignatureCheck(line.seq, line.kind, name, text["key_id"], meaning, line.wall, known, problem)


def standing_signatures(record: Record) -> list[Line]:
    """Signatures after the seal that no later line withdraws."""
    gone = {line.data.get("withdraws") for line in record.after_seal if line.kind == "record_withdrawn"}
    return [line for line in record.after_seal if line.kind == "record_signed" and line.seq not in gone]


def message_of(raw: bytes, signature: str, digest: str) -> bytes | None:
    """What was signed: the line with signature and digest as zeros."""
    if len(signature) != len(SIGNATURE_ZEROS) or len(digest) != len(ZEROS):
        return None
    without = blank(raw, "signature", signature)
    return None if without is None else blank(without, "digest", digest)

"""Canonical JSON (RFC 8785) to bytes and back, strictly: what isn't canonical isn't accepted.

Writing goes through the `rfc8785` library, and reading compares the bytes with their canonical form. For the plain
case (ASCII, no fractions) the standard encoder gives the same bytes four times faster, and a test holds the two
equal.
"""

from __future__ import annotations

import json
import math
from typing import Any

import rfc8785

from assistant.errors import RecordError

MAX_LINE_BYTES = 1 << 20
MAX_DEPTH = 32
MAX_INT = 2**53 - 1

_plain = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


class NotCanonical(ValueError):
    """The bytes aren't canonical JSON; the message says why, in a form that is safe to show."""


class _FractionSeen(Exception):
    """The text holds a number with a point or an exponent."""


def to_canonical(value: Any) -> bytes:
    """The RFC 8785 bytes of `value`.

    Lone surrogates (an undecodable file name) become U+FFFD first, since they are no characters. Raises
    RecordError for NaN, infinities, integers beyond 2**53 - 1, keys that aren't strings and other types.
    """
    try:
        return rfc8785.dumps(value)
    except rfc8785.CanonicalizationError as error:
        cleaned = _without_surrogates(value)
        if cleaned != value:
            return to_canonical(cleaned)
        raise RecordError(
            f"A fact can't be written down: {error}.",
            expected="text, true, false, null, lists, objects, whole numbers up to 2^53 - 1, "
            "finite fractions",
        ) from error
    except RecursionError as error:
        raise RecordError("A fact is nested too deep to be written down.") from error


def to_canonical_read_back(value: Any) -> bytes:
    """The same bytes, sure to be read back as `value`: what could not be read must not be written.

    The plain case (ASCII, no fractions) is written by the standard encoder and read back once, which is four times
    quicker; that it gives the library's bytes is what `from_canonical` rests on too. Raises RecordError as
    `to_canonical` does, and for what is too long or too deep for a line.
    """
    raw = _plainly(value)
    if raw is None:
        raw = to_canonical(value)
        try:
            from_canonical(raw)
        except NotCanonical as error:
            raise RecordError(f"A fact can't be written down: {error}.") from error
    return raw


def _plainly(value: Any) -> bytes | None:
    """The bytes in the plain case, else None. Whatever the encoder would bend to fit (a key that is a number, a tuple)
    comes back as something else and so isn't plain."""
    try:
        text = _plain.encode(value)
        if not text.isascii() or _whole_numbers.decode(text) != value:
            return None
    except (_FractionSeen, NotCanonical, TypeError, ValueError, RecursionError):
        return None
    raw = text.encode()
    return None if _too_much(raw) else raw


def _too_much(raw: bytes, max_bytes: int = MAX_LINE_BYTES) -> str:
    if len(raw) > max_bytes:
        return f"longer than {max_bytes} bytes"
    if raw.count(b"{") + raw.count(b"[") > MAX_DEPTH and _depth(raw) > MAX_DEPTH:
        return f"nested deeper than {MAX_DEPTH}"
    return ""


def from_canonical(raw: bytes, *, max_bytes: int = MAX_LINE_BYTES) -> Any:
    """Parse bytes that must be exactly canonical. Raises NotCanonical; never anything else."""
    if problem := _too_much(raw, max_bytes):
        raise NotCanonical(problem)
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise NotCanonical(f"not UTF-8 at byte {error.start}") from None
    try:
        try:
            value = _whole_numbers.decode(text)
            again = _plain.encode(value).encode() if raw.isascii() else rfc8785.dumps(value)
        except _FractionSeen:
            value = _any_numbers.decode(text)
            again = rfc8785.dumps(value)
    except NotCanonical:
        raise
    except json.JSONDecodeError as error:
        raise NotCanonical(f"not JSON at character {error.pos}") from None
    except (ValueError, RecursionError):
        raise NotCanonical("not representable as canonical JSON") from None
    if again != raw:
        raise NotCanonical("not in canonical form")
    return value


def _fraction_seen(_literal: str) -> float:
    raise _FractionSeen


def _fraction(literal: str) -> float:
    number = float(literal)
    if not math.isfinite(number):
        raise NotCanonical("a number out of range")
    return number


def _whole(literal: str) -> int:
    if len(literal) > 17 or abs(int(literal)) > MAX_INT:
        raise NotCanonical("a whole number beyond 2^53 - 1")
    return int(literal)


def _constant(name: str) -> float:
    raise NotCanonical("NaN or Infinity")


# Most lines hold no fraction, and the quick encoder writes fractions in another form than RFC 8785 does.
_whole_numbers = json.JSONDecoder(parse_float=_fraction_seen, parse_int=_whole, parse_constant=_constant)
_any_numbers = json.JSONDecoder(parse_float=_fraction, parse_int=_whole, parse_constant=_constant)


def _depth(raw: bytes) -> int:
    deepest = depth = 0
    in_text = escaped = False
    for byte in raw:
        if in_text:
            if escaped:
                escaped = False
            elif byte == 0x5C:
                escaped = True
            elif byte == 0x22:
                in_text = False
        elif byte == 0x22:
            in_text = True
        elif byte in b"{[":
            depth += 1
            deepest = max(deepest, depth)
        elif byte in b"}]":
            depth -= 1
    return deepest


def _without_surrogates(value: Any) -> Any:
    if isinstance(value, str):
        return value.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    if isinstance(value, dict):
        return {_without_surrogates(k): _without_surrogates(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_without_surrogates(item) for item in value]
    return value

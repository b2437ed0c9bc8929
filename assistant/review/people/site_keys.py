"""The site's registry of keys, as the index judges signatures by it, and by which it knows that a judgement is old."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from assistant.errors import GauntletError
from assistant.record.signing.keys import KeyStore, PublicKey

Registry = Sequence[PublicKey] | None


def registry_of(store: KeyStore | None) -> Registry:
    """Every key ever entered; none where the registry can't be read, so that nothing is decided by what nobody can
    check. None without a store: then only each signature itself is held."""
    if store is None:
        return None
    try:
        return store.registry()
    except GauntletError:
        return []


def judged_by(signers: str, registry: Registry) -> str:
    """A short mark of what `registry` says of the keys in `signers` (their ids, a space between)."""
    if not signers:
        return ""
    if registry is None:
        return "unheld"
    wanted = set(signers.split())
    told = sorted(repr(entry) for entry in registry if entry.key_id in wanted)
    return hashlib.sha256("\n".join(told).encode("utf-8", "surrogatepass")).hexdigest()[:16]

"""Ed25519 keys of named people: the private half locked with a passphrase, the public half in one registry.

A key opens with two components, who and passphrase (21 CFR 11.200(a)). Argon2id makes the locking key
(RFC 9106; its second recommended setting, 64 MiB), ChaCha20-Poly1305 locks, and the person's name is bound
in, so that a renamed key file doesn't open."""

from __future__ import annotations

import hashlib
import hmac
import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from argon2.low_level import Type, hash_secret_raw
from cryptography.exceptions import InvalidSignature, InvalidTag
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

from assistant.errors import RecordError, RefusedError, UsageError
from assistant.record.lines.canonical import to_canonical
from assistant.record.lines.safe_text import printable
from assistant.record.storage.file_store import storage_error
from assistant.record.storage.files import Files, OsFiles, make_folders, write_whole
from assistant.record.storage.paths import safe_name

MIN_PASSPHRASE = 8
REGISTRY = "public_keys.json"


@dataclass(frozen=True)
class Cost:
    """Argon2id's work: passes, memory in KiB, lanes. Smaller in tests only."""

    passes: int = 3
    memory_kib: int = 65536
    lanes: int = 4


@dataclass(frozen=True)
class PublicKey:
    """An entry of the registry. `withdrawn`: RFC 3339 time from which it must not sign, or ""."""

    key_id: str
    name: str
    role: str
    public_key: str
    since: str
    withdrawn: str = ""


class UnlockedKey:
    """A private key in memory, to sign with. Never printed, never written."""

    def __init__(self, entry: PublicKey, private: Ed25519PrivateKey) -> None:
        self.entry = entry
        self._private = private

    @property
    def key_id(self) -> str:
        """First 16 hex digits of the SHA-256 of the public key."""
        return self.entry.key_id

    @property
    def name(self) -> str:
        """The person's printed name."""
        return self.entry.name

    def sign(self, message: bytes) -> str:
        """Signature as 128 hex digits (RFC 8032)."""
        return self._private.sign(message).hex()

    def __repr__(self) -> str:
        return f"UnlockedKey({self.entry.key_id})"


class KeyStore:
    """Keys in a folder: `<name>.key.json` each, and `public_keys.json`."""

    def __init__(
        self,
        folder: Path | str,
        *,
        cost: Cost | None = None,
        files: Files | None = None,
        random: Callable[[int], bytes] = os.urandom,
    ) -> None:
        self.folder = Path(folder)
        self._cost = cost or Cost()
        self._files = files or OsFiles()
        self._random = random

    def create_key(self, name: str, passphrase: str, *, since: str, role: str = "") -> PublicKey:
        """Make a key for a person and enter it in the registry. `since`: RFC 3339.

        Raises RefusedError when the name has a key in force, UsageError for a name or passphrase too short.
        """
        name = " ".join(name.split())
        if not name or printable(name) != name or len(name) > 120:
            raise UsageError("A key needs a person's name.", expected="1 to 120 printable characters")
        if len(passphrase) < MIN_PASSPHRASE:
            raise UsageError(
                "The passphrase is too short.",
                expected=f"{MIN_PASSPHRASE} characters or more",
                try_next="Use three or four unrelated words.",
            )
        entries = self.registry()
        if any(entry.name.casefold() == name.casefold() and not entry.withdrawn for entry in entries):
            raise RefusedError(
                f"{name} has a key already.",
                where=str(self.folder),
                try_next="Withdraw that key first, or use the full name.",
            )
        secret = self._random(32)
        private = Ed25519PrivateKey.from_private_bytes(secret)
        public = private.public_key().public_bytes_raw()
        entry = PublicKey(key_id_of(public), name, role, public.hex(), since)
        salt, nonce = self._random(16), self._random(12)
        locked = ChaCha20Poly1305(self._lock_key(passphrase, salt, self._cost)).encrypt(
            nonce, secret, _bound(entry)
        )
        held = {
            "format": 1,
            **_public(entry),
            "salt": salt.hex(),
            "nonce": nonce.hex(),
            "locked": locked.hex(),
            "passes": self._cost.passes,
            "memory_kib": self._cost.memory_kib,
            "lanes": self._cost.lanes,
        }
        try:
            make_folders(self._files, self.folder)
            write_whole(self._files, self._key_file(entry), to_canonical(held))
            self._write_registry([*entries, entry])
        except OSError as error:
            raise storage_error(error, str(self.folder)) from error
        return entry

    def unlock(self, name: str, passphrase: str) -> UnlockedKey:
        """Open a person's key. Raises RefusedError for an unknown name and for a wrong passphrase, in the
        same words, so that trying names tells nothing."""
        entry = self.find(name)
        refusal = RefusedError(
            "Name and passphrase don't belong together.",
            where=str(self.folder),
            try_next="Try again, or ask who keeps the keys.",
        )
        if entry is None or entry.withdrawn:
            self._lock_key(passphrase, bytes(16), self._cost)  # as long as for a known name
            raise refusal
        try:
            held = json.loads(self._key_file(entry).read_bytes()[:8192])
            cost = Cost(int(held["passes"]), int(held["memory_kib"]), int(held["lanes"]))
            if not (1 <= cost.passes <= 20 and 8 <= cost.memory_kib <= 1 << 21 and 1 <= cost.lanes <= 64):
                raise ValueError("cost out of range")
            salt, nonce, locked = (bytes.fromhex(held[part]) for part in ("salt", "nonce", "locked"))
            secret = ChaCha20Poly1305(self._lock_key(passphrase, salt, cost)).decrypt(
                nonce, locked, _bound(entry)
            )
        except InvalidTag:
            raise refusal from None
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise RecordError(
                "The key file can't be read.",
                where=str(self._key_file(entry)),
                try_next="Bring it back from your copy, or make a new key.",
            ) from error
        private = Ed25519PrivateKey.from_private_bytes(secret)
        if not hmac.compare_digest(private.public_key().public_bytes_raw().hex(), entry.public_key):
            raise refusal
        return UnlockedKey(entry, private)

    def withdraw_key(self, name: str, at: str) -> PublicKey:
        """From `at` (RFC 3339) on, the key must not sign; what it signed before still stands."""
        entry = self.find(name)
        if entry is None or entry.withdrawn:
            raise RefusedError(f"{printable(name, 120)} has no key in force.", where=str(self.folder))
        ended = PublicKey(**{**entry.__dict__, "withdrawn": at})
        self._write_registry([ended if old.key_id == entry.key_id else old for old in self.registry()])
        return ended

    def find(self, name_or_id: str) -> PublicKey | None:
        """The key in force of a person (or any key by its id), or None."""
        wanted = " ".join(name_or_id.split()).casefold()
        found = [e for e in self.registry() if e.name.casefold() == wanted or e.key_id == wanted]
        found.sort(key=lambda entry: bool(entry.withdrawn))
        return found[0] if found else None

    def registry(self) -> list[PublicKey]:
        """Every public key ever entered, oldest first. Raises RecordError for a damaged registry."""
        path = self.folder / REGISTRY
        try:
            entries = [
                PublicKey(**{key: str(value) for key, value in item.items()})
                for item in json.loads(path.read_bytes())["keys"]
            ]
        except FileNotFoundError:
            return []
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
            raise RecordError(
                "The registry of public keys can't be read.",
                where=str(path),
                try_next="Bring it back from your copy.",
            ) from error
        for entry in entries:
            try:
                right = hmac.compare_digest(key_id_of(bytes.fromhex(entry.public_key)), entry.key_id)
            except ValueError:
                right = False
            if not right:
                raise RecordError(
                    "A key in the registry doesn't fit its id.",
                    where=str(path),
                    try_next="Bring the registry back from your copy.",
                )
        return entries

    def public_keys(self) -> dict[str, str]:
        """Key id -> public key as hex, as `verify` takes it."""
        return {entry.key_id: entry.public_key for entry in self.registry()}

    def problem_with(self, key_id: str, signed_wall: str) -> str:
        """Why a key may not have signed at `signed_wall` (RFC 3339), or "". A withdrawn key still vouches for
        what it signed before."""
        entry = next((entry for entry in self.registry() if entry.key_id == key_id), None)
        return "its key isn't in the registry" if entry is None else not_in_force(entry, signed_wall)

    def _write_registry(self, entries: list[PublicKey]) -> None:
        try:
            write_whole(
                self._files,
                self.folder / REGISTRY,
                to_canonical({"format": 1, "keys": [entry.__dict__ for entry in entries]}),
            )
        except OSError as error:
            raise storage_error(error, str(self.folder / REGISTRY)) from error

    def _key_file(self, entry: PublicKey) -> Path:
        return self.folder / f"{safe_name(entry.name)}-{entry.key_id}.key.json"

    @staticmethod
    def _lock_key(passphrase: str, salt: bytes, cost: Cost) -> bytes:
        return hash_secret_raw(
            passphrase.encode("utf-8", "surrogatepass"),
            salt,
            time_cost=cost.passes,
            memory_cost=cost.memory_kib,
            parallelism=cost.lanes,
            hash_len=32,
            type=Type.ID,
        )


def not_in_force(entry: PublicKey, signed_wall: str) -> str:
    """Why a key of the registry may not have signed at `signed_wall` (RFC 3339), or ""."""
    try:
        signed, since = datetime.fromisoformat(signed_wall), datetime.fromisoformat(entry.since)
        withdrawn = datetime.fromisoformat(entry.withdrawn) if entry.withdrawn else None
        if signed < since:
            return "it was signed before its key was made"
        if withdrawn and signed >= withdrawn:
            return "it was signed after its key was withdrawn"
    except (ValueError, TypeError):  # a leap second, or a registry written by hand
        return "its time can't be held against its key's"
    return ""


def key_id_of(public_key: bytes) -> str:
    """First 16 hex digits of the SHA-256 of a public key (32 bytes)."""
    return hashlib.sha256(public_key).hexdigest()[:16]


def signature_holds(public_key: str, message: bytes, signature: str) -> bool:
    """Whether `signature` (hex) of `message` is by `public_key` (hex). False for anything malformed."""
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_key)).verify(
            bytes.fromhex(signature), message
        )
    except (InvalidSignature, ValueError):
        return False
    return True


def _public(entry: PublicKey) -> dict[str, Any]:
    return {"key_id": entry.key_id, "name": entry.name, "public_key": entry.public_key, "since": entry.since}


def _bound(entry: PublicKey) -> bytes:
    return to_canonical(_public(entry))

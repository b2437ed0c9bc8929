"""Accounts: name, role and a passphrase of which only an Argon2id hash is kept. Made on the command line.

A technician or supervisor also has a signing key in the record's key store, locked with the same passphrase.
"""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import filelock
from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from assistant.errors import RefusedError, StorageError, UsageError
from assistant.record.lines.safe_text import printable
from assistant.record.signing.keys import MIN_PASSPHRASE, Cost, KeyStore
from assistant.record.storage.files import OsFiles, make_folders, write_whole
from assistant.review.people.roles import ROLES, SIGNERS

FILE = "accounts.json"
KEYS = "keys"
MAX_PASSPHRASE = 1024
_AT_ONCE = 2  # hashings at one time; each takes 64 MiB, and asking for more mustn't exhaust the machine


@dataclass(frozen=True)
class Account:
    """One person. `aliases`: other names they go by in records. `closed`: RFC 3339 time, or ""."""

    name: str
    role: str
    hash: str
    since: str
    aliases: tuple[str, ...] = ()
    closed: str = ""

    def goes_by(self, name: str) -> bool:
        """Whether `name` in a record means this person."""
        wanted = folded(name)
        return bool(wanted) and wanted in {folded(n) for n in (self.name, *self.aliases)}


def folded(name: str) -> str:
    """A name without differences of case and spacing."""
    return " ".join(name.split()).casefold()


class Accounts:
    """The accounts in `<home>/accounts.json`; their keys in `keys`, or `<home>/keys`."""

    def __init__(
        self,
        home: Path,
        *,
        keys: Path | None = None,
        hasher: PasswordHasher | None = None,
        cost: Cost | None = None,
    ) -> None:
        self.home = Path(home)
        self.file = self.home / FILE
        self.keys = KeyStore(keys or self.home / KEYS, cost=cost)
        self._hasher = hasher or PasswordHasher()
        self._gate = threading.BoundedSemaphore(_AT_ONCE)
        self._nobody = self._hasher.hash("nobody has this passphrase")

    def all(self) -> list[Account]:
        """Every account, closed ones too. Raises StorageError for a damaged file."""
        try:
            held = json.loads(self.file.read_bytes())
            return [
                Account(**{**item, "aliases": tuple(item.get("aliases", ()))}) for item in held["accounts"]
            ]
        except FileNotFoundError:
            return []
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
            raise StorageError(
                "The accounts can't be read.",
                where=str(self.file),
                try_next="Bring the file back from your copy.",
            ) from error

    def find(self, name: str) -> Account | None:
        """The open account of that name or alias."""
        return next((a for a in self.all() if not a.closed and a.goes_by(name)), None)

    def add(
        self, name: str, role: str, passphrase: str, *, since: str, aliases: tuple[str, ...] = ()
    ) -> Account:
        """Make an account, with a signing key where the role signs. Raises UsageError, RefusedError,
        StorageError."""
        name = " ".join(name.split())
        for text in (name, *aliases):
            if not text.strip() or printable(text) != text or len(text) > 120:
                raise UsageError("A name must be 1 to 120 printable characters.")
        if role not in ROLES:
            raise UsageError(f"'{role[:40]}' is no role.", expected=", ".join(ROLES))
        check_passphrase(passphrase)
        with self._changing():
            accounts = self.all()
            for text in (name, *aliases):
                if any(a.goes_by(text) for a in accounts if not a.closed):
                    raise RefusedError(
                        f"Somebody goes by {text} already.",
                        where=str(self.file),
                        try_next="Use the full name.",
                    )
            if role in SIGNERS:
                self._key(name, role, passphrase, since)
            account = Account(name, role, self._hash(passphrase), since, tuple(aliases))
            self._write([*accounts, account])
        return account

    def _key(self, name: str, role: str, passphrase: str, since: str) -> None:
        """A key for the person; one they have already (for approvals, say) is used if the passphrase opens
        it."""
        there = self.keys.find(name)
        if there is None or there.withdrawn:
            self.keys.create_key(name, passphrase, since=since, role=role)
            return
        try:
            self.keys.unlock(name, passphrase)
        except RefusedError:
            raise RefusedError(
                f"{name} has a signing key already, and this passphrase doesn't open it.",
                try_next="Give that key's passphrase, or withdraw the key first.",
            ) from None

    def set_passphrase(self, name: str, passphrase: str, *, now: str) -> None:
        """A new passphrase. The old signing key is withdrawn and a new one made: what it signed still
        stands."""
        check_passphrase(passphrase)
        with self._changing():
            account = self._must_find(name)
            if account.role in SIGNERS:
                key = self.keys.find(account.name)
                if key is not None and not key.withdrawn:
                    self.keys.withdraw_key(account.name, now)
                self.keys.create_key(account.name, passphrase, since=now, role=account.role)
            self._swap(account, replace(account, hash=self._hash(passphrase)))

    def close(self, name: str, *, now: str) -> None:
        """Nobody signs in with it from now on; its key is withdrawn; what it signed still stands."""
        with self._changing():
            account = self._must_find(name)
            key = self.keys.find(account.name)
            if key is not None and not key.withdrawn:
                self.keys.withdraw_key(account.name, now)
            self._swap(account, replace(account, closed=now))

    def sign_in(self, name: str, passphrase: str) -> Account | None:
        """The account if both belong together, else None. An unknown name takes as long as a wrong
        passphrase."""
        account = self.find(name[:200])
        held = account.hash if account else self._nobody
        with self._gate:
            try:
                good = bool(self._hasher.verify(held, passphrase[:MAX_PASSPHRASE].encode("utf-8", "surrogatepass")))
            except (VerificationError, InvalidHashError):
                good = False
        return account if account and good else None

    def _hash(self, passphrase: str) -> str:
        return self._hasher.hash(passphrase.encode("utf-8", "surrogatepass"))

    def _must_find(self, name: str) -> Account:
        account = self.find(name)
        if account is None:
            raise RefusedError(
                f"There is no open account of {printable(name, 120)}.",
                where=str(self.file),
                try_next="assistant accounts list",
            )
        return account

    def _swap(self, old: Account, new: Account) -> None:
        self._write([new if a == old else a for a in self.all()])

    def _changing(self) -> filelock.FileLock:
        try:
            make_folders(OsFiles(), self.home)
        except OSError as error:
            raise StorageError("The accounts' folder can't be made.", where=str(self.home)) from error
        return filelock.FileLock(self.home / ".accounts.lock", timeout=10, mode=0o600)

    def _write(self, accounts: list[Account]) -> None:
        held = {"format": 1, "accounts": [asdict(a) for a in accounts]}
        try:
            write_whole(OsFiles(), self.file, json.dumps(held, indent=1, ensure_ascii=False).encode())
            os.chmod(self.file, 0o600)
        except OSError as error:
            raise StorageError("The accounts can't be written.", where=str(self.file)) from error


def check_passphrase(passphrase: str) -> None:
    """Raises UsageError for one that is too short or too long."""
    if not MIN_PASSPHRASE <= len(passphrase) <= MAX_PASSPHRASE:
        raise UsageError(
            "The passphrase is too short or too long.",
            expected=f"{MIN_PASSPHRASE} to {MAX_PASSPHRASE} characters",
            try_next="Use three or four unrelated words.",
        )


class RateLimit:
    """At most `most` failures within `window_s`, per key. `clock`: seconds, never going back."""

    def __init__(self, clock: Callable[[], float], most: int, window_s: float, keys: int = 10_000) -> None:
        self._clock, self.most, self.window_s, self._keys = clock, most, window_s, keys
        self._failures: dict[str, list[float]] = {}
        self._lock = threading.Lock()

    def wait_s(self, key: str) -> float:
        """How long `key` must still wait; 0 when it may try."""
        now = self._clock()
        with self._lock:
            recent = [t for t in self._failures.get(key, ()) if now - t < self.window_s]
            return max(0.0, recent[-self.most] + self.window_s - now) if len(recent) >= self.most else 0.0

    def failed(self, key: str) -> None:
        """Note a failure."""
        now = self._clock()
        with self._lock:
            if len(self._failures) >= self._keys:
                self._failures = {k: v for k, v in self._failures.items() if now - v[-1] < self.window_s}
                if len(self._failures) >= self._keys:
                    self._failures.pop(next(iter(self._failures)))
            self._failures[key] = [t for t in self._failures.get(key, ()) if now - t < self.window_s] + [now]

    def take_back(self, key: str) -> None:
        """The newest failure of `key` was none: it was noted before the answer was known."""
        with self._lock:
            held = self._failures.get(key)
            if held:
                held.pop()
                if not held:
                    del self._failures[key]

    def forget(self, key: str) -> None:
        """A success: the key starts afresh."""
        with self._lock:
            self._failures.pop(key, None)

"""Who is signed in: random tokens in cookies, looked up by their hash, gone when the server stops."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass

from assistant.review.people.roles import READER

COOKIE, DOOR_COOKIE = "gauntlet_visit", "gauntlet_door"
IDLE_S, LONGEST_S = 3600.0, 12 * 3600.0
READER_LONGEST_S = 30 * 24 * 3600.0  # a screen on the wall stays on; it may only read
_MOST = 2_000


@dataclass
class Visit:
    """One signed-in browser. `signed_once`: a signing with both components was made in it (21 CFR
    11.200(a))."""

    name: str
    role: str
    csrf: str
    began_s: float
    seen_s: float
    signed_once: bool = False


class Visits:
    """All visits. `clock`: seconds, never going back."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._visits: dict[str, Visit] = {}
        self._secret = secrets.token_bytes(32)
        self._lock = threading.Lock()

    def begin(self, name: str, role: str) -> tuple[str, Visit]:
        """A new visit and its token, which was never seen before."""
        token, now = secrets.token_urlsafe(32), self._clock()
        visit = Visit(name, role, secrets.token_urlsafe(24), now, now)
        with self._lock:
            self._drop_old(now)
            if len(self._visits) >= _MOST:
                self._visits.pop(min(self._visits, key=lambda k: self._visits[k].seen_s))
            self._visits[_key(token)] = visit
        return token, visit

    def find(self, token: str | None) -> Visit | None:
        """The visit of a cookie, still in time; being looked for counts as use."""
        if not token or len(token) > 200:
            return None
        now = self._clock()
        with self._lock:
            visit = self._visits.get(_key(token))
            if visit is None or self._over(visit, now):
                self._visits.pop(_key(token), None)
                return None
            visit.seen_s = now
            return visit

    def end(self, token: str | None) -> None:
        """Signed out."""
        with self._lock:
            self._visits.pop(_key(token or ""), None)

    def end_all_of(self, name: str) -> None:
        """An account was closed or changed."""
        with self._lock:
            self._visits = {k: v for k, v in self._visits.items() if v.name != name}

    def door_token(self) -> str:
        """A token for the sign-in form of somebody who isn't signed in."""
        return secrets.token_urlsafe(24)

    def door_proof(self, token: str) -> str:
        """What the form must send back for that token."""
        return hmac.new(self._secret, token.encode(), hashlib.sha256).hexdigest()

    def door_holds(self, token: str | None, proof: str) -> bool:
        """Whether the form was ours and this browser's."""
        return bool(token and hmac.compare_digest(self.door_proof(token), proof.encode("ascii", "replace").decode()))

    def _drop_old(self, now: float) -> None:
        self._visits = {k: v for k, v in self._visits.items() if not self._over(v, now)}

    @staticmethod
    def _over(visit: Visit, now: float) -> bool:
        longest = READER_LONGEST_S if visit.role == READER else LONGEST_S
        return now - visit.seen_s > IDLE_S or now - visit.began_s > longest


def _key(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def same(a: str, b: str) -> bool:
    """Compared without telling how far they agree."""
    return hmac.compare_digest(a.encode("utf-8", "replace"), b.encode("utf-8", "replace"))

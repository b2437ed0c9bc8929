"""Who may do what: every route, its method and the roles that may use it, in this one table.

The application builds its routes from it, so that a page without a row doesn't exist, and a test walks every
row
with every role. What the site's own rule narrows further (who may listen, who may sign what) is said in
`note`.
"""

from __future__ import annotations

from dataclasses import dataclass

ANONYMOUS = "anonymous"
TECHNICIAN, SUPERVISOR, AUTHOR, READER = "technician", "supervisor", "author", "reader"
ROLES = (TECHNICIAN, SUPERVISOR, AUTHOR, READER)
SIGNED_IN = frozenset(ROLES)
ANYONE = SIGNED_IN | {ANONYMOUS}
SIGNERS = frozenset((TECHNICIAN, SUPERVISOR))


@dataclass(frozen=True)
class Access:
    """One row: method, path as Starlette writes it, the handler's name, who may."""

    method: str
    path: str
    name: str
    roles: frozenset[str]
    note: str = ""


_SESSION = "/sessions/{enclosure}/{session}"
TABLE: tuple[Access, ...] = (
    Access("GET", "/static/{path:path}", "static", ANYONE, "style sheets and scripts of the program itself"),
    Access("GET", "/sign-in", "sign_in", ANYONE),
    Access("POST", "/sign-in", "sign_in_post", ANYONE, "rate-limited"),
    Access("POST", "/sign-out", "sign_out", SIGNED_IN),
    Access("GET", "/", "home", SIGNED_IN),
    Access("GET", "/sessions", "sessions", SIGNED_IN),
    Access("GET", _SESSION, "session", SIGNED_IN),
    Access("GET", _SESSION + "/state", "state", SIGNED_IN),
    Access("GET", _SESSION + "/facts", "facts", SIGNED_IN),
    Access("GET", _SESSION + "/sound", "sound", SIGNED_IN, "only the site's sound_listeners"),
    Access("GET", _SESSION + "/clips/{clip}", "clip", SIGNED_IN, "only the site's clip_listeners"),
    Access("GET", _SESSION + "/said", "said", SIGNED_IN),
    Access("GET", _SESSION + "/spoken/{line}", "spoken", SIGNED_IN, "from the text, which they may read"),
    Access("GET", _SESSION + "/record.jsonl", "record_file", SIGNED_IN),
    Access(
        "GET",
        _SESSION + "/compare",
        "compare",
        frozenset((SUPERVISOR,)),
        "only where the site switched it on",
    ),
    Access("GET", _SESSION + "/sign", "sign", SIGNERS),
    Access(
        "POST", _SESSION + "/sign", "sign_post", SIGNERS, "as the site's release rule says; never one's own"
    ),
    Access("POST", _SESSION + "/withdraw", "withdraw", SIGNERS, "only one's own signature"),
    Access("GET", "/board", "board", SIGNED_IN),
    Access("GET", "/board/events", "board_events", SIGNED_IN),
    Access("GET", "/board/witness/{enclosure}/{session}", "witness", SIGNERS),
    Access(
        "POST",
        "/board/witness/{enclosure}/{session}",
        "witness_post",
        SIGNERS,
        "never the person at the gauntlets; a surface only from a device at the enclosure",
    ),
    Access("GET", "/practice", "practice", frozenset((SUPERVISOR,)), "it is about people"),
    Access("GET", "/practice/{trainee}", "trainee", frozenset((SUPERVISOR,))),
    Access("POST", "/practice/{trainee}/sign", "trainee_sign", frozenset((SUPERVISOR,)), "never one's own"),
    Access("POST", "/practice/{trainee}/withdraw", "trainee_withdraw", frozenset((SUPERVISOR,)), "never one's own"),
    Access("GET", "/register", "register", SIGNED_IN),
    Access("GET", "/register/calendar.ics", "calendar", SIGNED_IN),
    Access("GET", "/register/{enclosure}", "register_enclosure", SIGNED_IN),
    Access("POST", "/register/{enclosure}/entries", "entry_post", SIGNERS),
)


def may(role: str, name: str) -> bool:
    """Whether `role` may use the route called `name`. An unknown name: nobody."""
    return any(row.name == name and role in row.roles for row in TABLE)

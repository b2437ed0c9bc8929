"""One request on its way to a page: who asks, with what, and how the answer is drawn."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from assistant.account.times import span_words
from assistant.record.lines.safe_text import printable
from assistant.review.people import roles
from assistant.review.people.accounts import Account
from assistant.review.people.visits import Visit
from assistant.review.serving.desk import Desk
from assistant.review.session.times import clock_words, date_words

HERE = Path(__file__).parent.parent
# Control, direction-changing and invisible characters: written out instead of obeyed.
_ODD = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200b\u200e\u200f\u2028-\u202f\u2060-\u206f\ufeff\ufff0-\uffff"
    "\ud800-\udfff\ue000-\uf8ff\U000e0000-\U000e0fff]"
)
MAX_MS = 1 << 40


def _plainly(value: Any) -> Any:
    if isinstance(value, str) and not isinstance(value, Markup) and _ODD.search(value):
        return printable(value, len(value) + 1)
    return value


def _environment() -> Environment:
    env = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_plainly,
    )
    env.filters |= {"span": span_words, "clock": clock_words, "session_url": session_url, "day": date_words}
    env.globals["may"] = roles.may
    return env


def fragment(template: str, **values: Any) -> Markup:
    """A part of a page that is the same for everybody, to be kept and put into pages as it is."""
    return Markup(ENVIRONMENT.get_template(template).render(**values))


def session_url(session: str) -> str:
    """The address of a session's page, from "enclosure/session"."""
    enclosure, _, name = session.partition("/")
    return f"/sessions/{quote(enclosure, safe='')}/{quote(name, safe='')}"


ENVIRONMENT = _environment()


@dataclass
class Call:
    """`visit` is None for somebody who isn't signed in. `form`: what was posted."""

    request: Request
    desk: Desk
    visit: Visit | None
    form: FormData = field(default_factory=FormData)

    @property
    def params(self) -> dict[str, str]:
        """The parts of the path."""
        return self.request.path_params

    @property
    def role(self) -> str:
        """The role, or anonymous."""
        return self.visit.role if self.visit else roles.ANONYMOUS

    @property
    def signed_in(self) -> Visit:
        """The visit. Only where the table of access asks for a role."""
        if self.visit is None:
            raise LookupError("nobody is signed in")
        return self.visit

    @property
    def account(self) -> Account:
        """The account behind the visit. Only where the table of access asks for a role."""
        found = self.desk.accounts.find(self.visit.name) if self.visit else None
        if found is None:
            raise LookupError("the account is gone")
        return found

    def text(self, name: str, limit: int = 2_000) -> str:
        """A field of the form, as text without surrounding space."""
        value = self.form.get(name, "")
        return value.strip()[:limit] if isinstance(value, str) else ""

    def query_int(self, name: str, default: int, least: int = 0, most: int = MAX_MS) -> int:
        """A whole number from the query, held inside its limits; the default for anything else."""
        text = self.request.query_params.get(name, "")
        if not re.fullmatch(r"[0-9]{1,15}", text, re.ASCII):
            return default
        return max(least, min(most, int(text)))

    def query(self, name: str, limit: int = 100) -> str:
        """A text from the query."""
        return self.request.query_params.get(name, "")[:limit]

    def page(self, template: str, status: int = 200, **values: Any) -> Response:
        """Draw a page."""
        shared = {
            "me": self.visit,
            "role": self.role,
            "csrf": self.visit.csrf if self.visit else "",
            "clock": self.desk.clock,
            "here": self.request.url.path,
            "rules": self.desk.rules,
            "now_wall": self.desk.now_wall(),
        }
        html = ENVIRONMENT.get_template(template).render(**shared, **values)
        return HTMLResponse(html.encode("utf-8", "replace"), status_code=status)

    def go(self, path: str) -> Response:
        """Show another page next."""
        return RedirectResponse(path, status_code=303)

    def say(self, title: str, text: str, status: int, try_next: str = "") -> Response:
        """A page with nothing but a message."""
        return self.page("message.html", status, title=title, text=text, try_next=try_next)

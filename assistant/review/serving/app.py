"""The web application: routes from the table of access, one guard in front of every page, strict headers on
all."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any
from urllib.parse import quote, urlsplit

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from assistant.errors import GauntletError, RecordError, RefusedError, StorageError, UsageError
from assistant.record.lines.safe_text import printable
from assistant.review import pages
from assistant.review.people.roles import ANONYMOUS, TABLE, Access
from assistant.review.people.visits import COOKIE, DOOR_COOKIE, same
from assistant.review.serving.call import Call
from assistant.review.serving.desk import Desk

MAX_BODY = 64 * 1024
Handler = Callable[[Call], Response | Awaitable[Response]]
CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": CSP,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "x-frame-options": "DENY",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=()",
}
_STATUS = {RecordError: 404, RefusedError: 403, UsageError: 400, StorageError: 503}


def create_app(desk: Desk) -> ASGIApp:
    """The application. Raises LookupError where a row of the table has no handler or a handler no row."""
    handlers = pages.handlers()
    named = {row.name for row in TABLE}
    if handlers.keys() != named:
        raise LookupError(f"table and handlers differ: {sorted(handlers.keys() ^ named)}")

    @contextlib.asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        tasks = [asyncio.create_task(desk.follower.run()), asyncio.create_task(_keep_fresh(desk))]
        try:
            yield
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    routes = [
        Route(row.path, _guarded(row, handlers[row.name], desk), methods=[row.method], name=row.name)
        for row in TABLE
    ]
    app = Starlette(
        routes=routes,
        lifespan=lifespan,
        exception_handlers={HTTPException: _http_problem(desk), GauntletError: _house_problem(desk)},
    )
    app.state.desk = desk
    return _Shell(app, desk)


async def _keep_fresh(desk: Desk) -> None:
    while True:
        with contextlib.suppress(GauntletError, OSError):
            await run_in_threadpool(desk.refresh)
        await asyncio.sleep(desk.setup.refresh_s)


def _guarded(row: Access, handler: Handler, desk: Desk) -> Callable[[Request], Awaitable[Response]]:
    async def endpoint(request: Request) -> Response:
        call = Call(request, desk, await run_in_threadpool(_visit_of, request, desk))
        refusal = _refusal(row, call)
        if refusal is not None:
            return refusal
        if row.method == "POST":
            call.form = await _form(request)
            if not _ours(call):
                return call.say(
                    "This form is no longer valid.",
                    "It was opened too long ago, or by another page.",
                    403,
                    "Open the page again and repeat.",
                )
        answered: Response | Awaitable[Response]
        if asyncio.iscoroutinefunction(handler):
            answered = handler(call)
        else:
            answered = await run_in_threadpool(lambda: handler(call))
        return answered if isinstance(answered, Response) else await answered

    return endpoint


def _visit_of(request: Request, desk: Desk) -> Any:
    visit = desk.visits.find(request.cookies.get(COOKIE))
    if visit is not None:
        account = desk.accounts.find(visit.name)
        if account is None or account.role != visit.role:  # closed or changed since
            desk.visits.end_all_of(visit.name)
            return None
    return visit


def _refusal(row: Access, call: Call) -> Response | None:
    if call.role in row.roles:
        return None
    if call.role != ANONYMOUS:
        return call.say("This isn't open to you.", f"Your role is {call.role}.", 403)
    if row.method == "GET" and "text/html" in call.request.headers.get("accept", "text/html"):
        target = call.request.url.path + (f"?{call.request.url.query}" if call.request.url.query else "")
        return call.go(f"/sign-in?next={quote(target, safe='')}")
    return call.say("Sign in first.", "This is for people with an account.", 401)


async def _form(request: Request) -> FormData:
    kind = request.headers.get("content-type", "")
    if not kind.startswith("application/x-www-form-urlencoded"):
        return FormData()
    return await request.form(max_fields=60, max_files=0)


def _ours(call: Call) -> bool:
    """The form came from one of our own pages, in this browser."""
    origin = call.request.headers.get("origin")
    if origin and origin != "null" and _place_of(origin) != call.request.headers.get("host", ""):
        return False
    proof = call.text("csrf", 200)
    if call.visit is not None and call.request.url.path != "/sign-in":
        return same(call.visit.csrf, proof)
    return call.desk.visits.door_holds(call.request.cookies.get(DOOR_COOKIE), proof)


def _place_of(origin: str) -> str:
    try:
        return urlsplit(origin).netloc
    except ValueError:  # nothing that a browser sends
        return ""


def _http_problem(desk: Desk) -> Callable[[Request, Exception], Awaitable[Response]]:
    async def answer(request: Request, error: Exception) -> Response:
        status = getattr(error, "status_code", 500)
        words = {
            404: ("There is no such page.", "The address is wrong, or what it named is gone."),
            405: ("That can't be done here.", "This page doesn't take that."),
            413: ("That is too much.", "The form is longer than any of ours."),
        }
        title, text = words.get(status, ("That didn't work.", "The request can't be read."))
        return Call(request, desk, _visit_of(request, desk)).say(title, text, status)

    return answer


def _house_problem(desk: Desk) -> Callable[[Request, Exception], Awaitable[Response]]:
    async def answer(request: Request, error: Exception) -> Response:
        assert isinstance(error, GauntletError)  # which it is registered for
        status = next((code for kind, code in _STATUS.items() if isinstance(error, kind)), 400)
        what = printable(error.what, 400)
        more = printable(f"Expected: {error.expected}" if error.expected else "", 400)
        return Call(request, desk, _visit_of(request, desk)).say(
            what, more, status, printable(error.try_next, 300)
        )

    return answer


class _Shell:
    """Around everything: the host must be ours, bodies are short, every answer carries the headers."""

    def __init__(self, app: ASGIApp, desk: Desk) -> None:
        self.app, self.desk = app, desk
        self.hosts = {"localhost", "127.0.0.1", "[::1]", *(h.casefold() for h in desk.setup.hosts)}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        headers = {k.decode("latin-1"): v.decode("latin-1") for k, v in scope["headers"]}
        if not self._host_is_ours(headers.get("host", "")):
            await Response("This address isn't served here.\n", 421, media_type="text/plain")(
                scope, receive, send
            )
            return
        length = headers.get("content-length", "0")
        if not length.isascii() or not length.isdigit() or int(length[:12]) > MAX_BODY:
            await Response("Too long.\n", 413, media_type="text/plain")(scope, receive, send)
            return
        with contextlib.suppress(ClientDisconnect):
            await self.app(scope, self._short(receive), self._dressed(send, scope["path"]))

    def _host_is_ours(self, host: str) -> bool:
        name = host.casefold()
        if name.startswith("["):
            return name.partition("]")[0] + "]" in self.hosts
        return name.partition(":")[0] in self.hosts

    @staticmethod
    def _short(receive: Receive) -> Receive:
        taken = 0

        async def limited() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > MAX_BODY:
                raise HTTPException(413)
            return message

        return limited

    def _dressed(self, send: Send, path: str) -> Send:
        static = path.startswith("/static/")

        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                have = {name for name, _ in message["headers"]}
                extra = dict(HEADERS)
                extra["cache-control"] = "max-age=300" if static else "no-store"
                if self.desk.setup.tls:
                    extra["strict-transport-security"] = "max-age=31536000"
                message["headers"] = [
                    *message["headers"],
                    *((k.encode(), v.encode()) for k, v in extra.items() if k.encode() not in have),
                ]
            await send(message)

        return dressed

"""The board: what runs now, kept fresh by server-sent events; and the witness's statement."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator

from starlette.responses import Response, StreamingResponse

from assistant.errors import GauntletError, RecordError, RefusedError, UsageError
from assistant.procedure.model.plan import CHECK, INSTRUCT, NOTE, PATCH, READING, WET, Step
from assistant.review.deciding.inbox import leave_statement
from assistant.review.pages.door import address_of
from assistant.review.pages.sign import components
from assistant.review.serving.call import Call, session_url
from assistant.review.serving.live import LiveSession
from assistant.session.lookup import step_of

HEARTBEAT_S = 10.0
_LOOPBACK = ("127.0.0.1", "::1", "testclient")
MAX_STATEMENT = 300


def board(call: Call) -> Response:
    """The page; without a script it shows the moment it was loaded."""
    call.desk.follower.poll()
    return call.page("board.html", picture=call.desk.follower.picture(), text=call.desk.follower.text())


async def board_events(call: Call) -> Response:
    """The stream: at once the whole picture, then each new one; a comment now and then keeps it open."""
    follower, visits = call.desk.follower, call.desk.visits
    token = call.request.cookies.get("gauntlet_visit")

    async def stream() -> AsyncIterator[bytes]:
        queue = follower.watch()
        try:
            text = await asyncio.to_thread(follower.text)
            yield b"retry: 1000\n\n" + _event(text, follower.version)
            while True:
                with contextlib.suppress(asyncio.TimeoutError):
                    text = await asyncio.wait_for(queue.get(), HEARTBEAT_S)
                    yield _event(text, follower.version)
                    continue
                if visits.find(token) is None:  # signed out meanwhile: the screen must not go on
                    yield b"event: gone\ndata: {}\n\n"
                    return
                yield b": still here\n\n"
        finally:
            follower.unwatch(queue)

    return StreamingResponse(stream(), media_type="text/event-stream", headers={"x-accel-buffering": "no"})


def _event(text: str, version: int) -> bytes:
    return f"id: {version}\ndata: {text}\n\n".encode("utf-8", "replace")


def witness(call: Call, problem: str = "", status: int = 200) -> Response:
    """The form for a second person: what did you see, directly?"""
    session, step, why_not = _wanted(call)
    return call.page(
        "witness.html",
        status,
        session=session,
        step=step,
        why_not=why_not,
        problem=problem,
        statement=call.text("statement", MAX_STATEMENT),
        ask_name=not call.signed_in.signed_once,
        url=session_url(session.session),
    )


def _wanted(call: Call) -> tuple[LiveSession, Step | None, str]:
    """The live session, the step that waits for a witness, and why this person can't be it."""
    folder = call.desk.folder_of(call.params["enclosure"], call.params["session"])
    call.desk.follower.poll()
    session = call.desk.follower.sessions.get(f"{folder.parent.name}/{folder.name}")
    if session is None or session.sealed:
        raise RecordError("This session isn't running.")
    if session.plan is None or session.state is None:
        raise RecordError("This session can't be followed.", try_next=session.problem)
    state = session.state
    step = step_of(session.plan, state) if state.mode == "witness" else None
    if step is None:
        return session, None, "No step is waiting for a witness now."
    if call.account.goes_by(state.person):
        return session, step, "You are at the gauntlets. A witness is a second person."
    return session, step, _remote(call, session.folder.parent.name, step)


def about_surface(step: Step) -> bool:
    """Whether what is witnessed is something seen at the enclosure itself."""
    return (
        bool(step.surface) or step.kind in (WET, PATCH) or step.kind not in (READING, NOTE, CHECK, INSTRUCT)
    )


def _remote(call: Call, enclosure: str, step: Step) -> str:
    rule = call.desk.rules.witness
    address = address_of(call)
    if (rule.this_machine and address in _LOOPBACK) or address in rule.at_enclosure.get(enclosure, []):
        return ""
    if about_surface(step) or step.kind not in rule.remote_steps:
        return (
            "This device doesn't stand at the enclosure. "
            "A surface is witnessed only by someone who sees it directly."
        )
    return ""


def witness_post(call: Call) -> Response:
    """Leave the signed statement for the station."""
    session, step, why_not = _wanted(call)
    statement = call.text("statement", MAX_STATEMENT + 1)
    try:
        if why_not or step is None:
            raise RefusedError(why_not)
        if call.text("step", 200) != step.id:
            raise UsageError("The step has changed meanwhile. Look again.")
        if call.text("direct", 5) != "yes":
            raise UsageError("A witness must have seen it directly.")
        if not statement or len(statement) > MAX_STATEMENT:
            raise UsageError(f"Say what you saw, in 1 to {MAX_STATEMENT} characters.")
        passphrase = components(call)
        key = call.desk.accounts.keys.unlock(call.account.name, passphrase)
        leave_statement(
            session.folder,
            key,
            session=session.session,
            step=step.id,
            statement=statement,
            wall=call.desk.now_wall(),
        )
    except GauntletError as error:
        return witness(call, error.what, 400 if isinstance(error, UsageError) else 403)
    call.signed_in.signed_once = True
    return call.go("/board?done=witnessed")


HANDLERS = {"board": board, "board_events": board_events, "witness": witness, "witness_post": witness_post}

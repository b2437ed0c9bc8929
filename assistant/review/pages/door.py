"""Signing in and out."""

from __future__ import annotations

from urllib.parse import urlsplit

from starlette.responses import Response

from assistant.review.people.accounts import folded
from assistant.review.people.visits import COOKIE, DOOR_COOKIE
from assistant.review.serving.call import Call

# One answer for an unknown name, a wrong passphrase and a closed account.
NO = "Name and passphrase don't belong together."


def local_path(text: str) -> str:
    """A path of ours to go to next; "/" for anything else."""
    text = text.replace("\\", "/")
    parts = urlsplit(text) if text.startswith("/") and not text.startswith("//") else None
    odd = any(ord(c) < 0x21 or ord(c) > 0x7E for c in text)
    return text if parts and not parts.scheme and not parts.netloc and not odd else "/"


def address_of(call: Call) -> str:
    """Where the request came from."""
    return call.request.client.host if call.request.client else "unknown"


def sign_in(call: Call, problem: str = "", name: str = "", status: int = 200, wait_s: float = 0) -> Response:
    """The form."""
    token = call.request.cookies.get(DOOR_COOKIE, "")[:200] or call.desk.visits.door_token()
    target = local_path(call.query("next", 500) or call.text("next", 500))
    answer = call.page(
        "sign_in.html",
        status,
        proof=call.desk.visits.door_proof(token),
        next=target,
        problem=problem,
        name=name,
        empty=not call.desk.accounts.all(),
    )
    answer.set_cookie(DOOR_COOKIE, token, httponly=True, samesite="lax", secure=call.desk.setup.tls, path="/")
    if wait_s:
        answer.headers["retry-after"] = str(int(wait_s) + 1)
    return answer


def sign_in_post(call: Call) -> Response:
    """Both components together; too many failures are made to wait, whoever they name."""
    desk = call.desk
    name, passphrase = call.text("name", 200), call.form.get("passphrase", "")
    # By name and address together: whoever tries a name from elsewhere doesn't shut its owner out.
    keys = (f"name:{folded(name)}:{address_of(call)}", f"address:{address_of(call)}")
    wait_s = max(desk.by_name.wait_s(keys[0]), desk.by_address.wait_s(keys[1]))
    if wait_s:
        return sign_in(call, f"Too many tries. Wait {int(wait_s // 60) + 1} min.", name, 429, wait_s)
    # Counted before the answer is known, so that many tries at one moment are as many as one after the other.
    desk.by_name.failed(keys[0])
    desk.by_address.failed(keys[1])
    account = desk.accounts.sign_in(name, passphrase if isinstance(passphrase, str) else "")
    if account is None:
        return sign_in(call, NO, name, 401)
    desk.by_name.forget(keys[0])
    desk.by_address.take_back(keys[1])
    if call.visit is not None:
        desk.visits.end(call.request.cookies.get(COOKIE))
    token, _ = desk.visits.begin(account.name, account.role)
    answer = call.go(local_path(call.text("next", 500)))
    answer.set_cookie(COOKIE, token, httponly=True, samesite="lax", secure=desk.setup.tls, path="/")
    return answer


def sign_out(call: Call) -> Response:
    """Gone, here and on the server."""
    call.desk.visits.end(call.request.cookies.get(COOKIE))
    answer = call.go("/sign-in")
    answer.delete_cookie(COOKIE, path="/")
    return answer


HANDLERS = {"sign_in": sign_in, "sign_in_post": sign_in_post, "sign_out": sign_out}

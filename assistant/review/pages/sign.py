"""Deciding on a record: the form, the signature, its withdrawal."""

from __future__ import annotations

from starlette.responses import Response

from assistant.account.start_answers import start_answers
from assistant.errors import GauntletError, RefusedError, UsageError
from assistant.review.deciding.decisions import SHORT, signed_lines
from assistant.review.deciding.signing import Wish, check_wish, choices, withdraw
from assistant.review.deciding.signing import sign as sign_it
from assistant.review.pages.door import NO
from assistant.review.serving.call import Call, session_url


def sign(call: Call, problem: str = "", status: int = 200) -> Response:
    """The form: what may be decided, and why what may not."""
    opened = call.desk.open(call.params["enclosure"], call.params["session"])
    found = choices(opened, call.desk.rules, call.account)
    chosen = call.text("decision", 40)
    summary = opened.summary
    seal = opened.record.seal
    name = f"{opened.folder.parent.name}/{opened.folder.name}"
    return call.page(
        "sign.html",
        status,
        url=session_url(name),
        header=opened.record.header,
        name=name,
        choices=found,
        chosen=chosen,
        problem=problem,
        reason=call.text("reason", 1000),
        must_happen=call.text("must_happen", 1000),
        seal=seal.sha256 if seal else "",
        short=SHORT,
        summary=summary,
        start_answers=start_answers(opened.plan, opened.facts) if opened.plan else (),
        verdict=summary.verdict or "none",
        ask_name=not call.signed_in.signed_once,
    )


def sign_post(call: Call) -> Response:
    """Sign, with both components (the first time) or the passphrase (in a series)."""
    opened = call.desk.open(call.params["enclosure"], call.params["session"])
    wish = Wish(call.text("decision", 40), call.text("reason", 1001), call.text("must_happen", 1001))
    account = call.account
    try:
        allowed = choices(opened, call.desk.rules, account)
        check_wish(wish, allowed)
        passphrase = components(call)
        sign_it(
            opened.folder,
            opened,
            call.desk.rules,
            call.desk.accounts,
            account,
            passphrase,
            wish,
            wall=call.desk.now_wall(),
            allowed=allowed,
        )
    except GauntletError as error:
        return sign(call, error.what, 400 if isinstance(error, UsageError) else 403)
    call.signed_in.signed_once = True
    name = f"{opened.folder.parent.name}/{opened.folder.name}"
    call.desk.index.refresh_one(name)
    return call.go(f"{session_url(name)}?done=signed#signatures")


def components(call: Call) -> str:
    """The passphrase, after the name and passphrase were found to belong together. Raises RefusedError in
    the same words and time for either; too many failures are made to wait. They are counted for this sign-in alone: what
    others try at the door, in whoever's name, never stops somebody who is signed in."""
    desk, account = call.desk, call.account
    key = f"visit:{call.signed_in.csrf}"
    if desk.by_name.wait_s(key):
        raise RefusedError("Too many tries. Wait five minutes.")
    name = account.name if call.signed_in.signed_once else call.text("name", 200)
    passphrase = call.form.get("passphrase", "")
    passphrase = passphrase if isinstance(passphrase, str) else ""
    desk.by_name.failed(key)  # before the answer is known, as at the door
    found = desk.accounts.sign_in(name, passphrase)
    if found is None or found.name != account.name:
        raise RefusedError(NO)
    desk.by_name.forget(key)
    return passphrase


def withdraw_post(call: Call) -> Response:
    """Withdraw one's own signature: a new line, the old one stays."""
    folder = call.desk.folder_of(call.params["enclosure"], call.params["session"])
    line = call.text("line", 12)
    name = f"{folder.parent.name}/{folder.name}"
    try:
        if not (line.isascii() and line.isdigit()):
            raise UsageError("Which signature?")
        opened = call.desk.open(folder.parent.name, folder.name)
        mine = [
            s for s in signed_lines(opened.record) if s.line == int(line) and call.account.goes_by(s.name)
        ]
        if not mine:
            raise RefusedError("Only who signed can withdraw a signature.")
        passphrase = components(call)
        withdraw(
            folder,
            call.desk.accounts,
            call.account,
            passphrase,
            line=int(line),
            reason=call.text("reason", 1001),
            wall=call.desk.now_wall(),
        )
    except GauntletError as error:
        status = 400 if isinstance(error, UsageError) else 403
        return call.say("The signature was not withdrawn.", error.what, status, "Go back and try again.")
    call.signed_in.signed_once = True
    call.desk.index.refresh_one(name)
    return call.go(f"{session_url(name)}?done=withdrawn#signatures")


HANDLERS = {"sign": sign, "sign_post": sign_post, "withdraw": withdraw_post}

"""Practice: who is ready to be signed off, on what evidence, and the supervisor's signature."""

from __future__ import annotations

from starlette.responses import Response

from assistant.errors import GauntletError, RecordError, UsageError
from assistant.review.pages.sign import components
from assistant.review.people.practice_signoff import (
    Evidence,
    EvidencePort,
    sign_off,
    why_not,
    withdraw_sign_off,
)
from assistant.review.people.practice_signoff_lines import SIGNED, sign_offs, why_not_standing
from assistant.review.serving.call import Call

MOST_TRAINEES, MOST_SESSIONS = 500, 100


def practice(call: Call) -> Response:
    """Every trainee, and what is missing until each is ready."""
    port = call.desk.setup.evidence
    rows, broken = [], []
    for name in port.trainees()[:MOST_TRAINEES] if port else []:
        assert port is not None  # it named the trainees
        try:
            found = port.of(name)
        except GauntletError as error:
            broken.append((name, error.what))
            continue
        if found is not None:
            rows.append((found, *_newest(call, port, found)))
    return call.page("practice.html", rows=rows, broken=broken, there=port is not None)


def trainee(call: Call, problem: str = "", status: int = 200) -> Response:
    """One trainee: each demand with what shows it, every session, every tracer wipe, every signature."""
    port, name, found = _wanted(call)
    here_now = [s.sha256 for s in found.sessions]
    signed = sign_offs(port.folder / name, found.trainee, call.desk.accounts)
    return call.page(
        "trainee.html",
        status,
        found=found,
        name=name,
        sessions=found.sessions[::-1][:MOST_SESSIONS],
        signed=[(s, why_not_standing(s, found.rule_sha256, here_now) if s.kind == SIGNED else "") for s in signed],
        why_not=why_not(found, call.account),
        problem=problem,
        reason=call.text("reason", 1000),
        ask_name=not call.signed_in.signed_once,
    )


def trainee_sign(call: Call) -> Response:
    """Sign the trainee off, with both components, on the evidence as it is now."""
    port, name, found = _wanted(call)
    try:
        if call.text("seen", 5) != "yes":
            raise UsageError("Look at the evidence first, and say that you did.")
        passphrase = components(call)
        key = call.desk.accounts.keys.unlock(call.account.name, passphrase)
        sign_off(
            port.folder / name, found, call.desk.accounts, call.account, key, reason=call.text("reason", 1001),
            wall=call.desk.now_wall(),
        )  # fmt: skip
    except GauntletError as error:
        return trainee(call, error.what, 400 if isinstance(error, UsageError) else 403)
    call.signed_in.signed_once = True
    return call.go(f"/practice/{name}#signatures")


def trainee_withdraw(call: Call) -> Response:
    """Withdraw a sign-off, with both components and a reason; the line it was stays."""
    port, name, _ = _wanted(call)
    try:
        number = call.text("number", 6)
        if not (number.isascii() and number.isdigit()):
            raise UsageError("Which sign-off?")
        passphrase = components(call)
        key = call.desk.accounts.keys.unlock(call.account.name, passphrase)
        withdraw_sign_off(
            port.folder / name, name, call.desk.accounts, call.account, key, number=int(number),
            reason=call.text("why", 1001), wall=call.desk.now_wall(),
        )  # fmt: skip
    except GauntletError as error:
        return trainee(call, error.what, 400 if isinstance(error, UsageError) else 403)
    call.signed_in.signed_once = True
    return call.go(f"/practice/{name}#signatures")


def _wanted(call: Call) -> tuple[EvidencePort, str, Evidence]:
    port, name = call.desk.setup.evidence, call.params["trainee"]
    # Compared with what is there, so that no name leads elsewhere.
    if port is None or name not in port.trainees():
        raise RecordError("There is no such trainee.")
    found = port.of(name)
    if found is None:
        raise RecordError("There is no such trainee.")
    return port, name, found


def _newest(call: Call, port: EvidencePort, found: Evidence) -> tuple[str, str]:
    """When the newest sign-off was made that stands, and ""; else "" and why the newest one doesn't."""
    here_now = [s.sha256 for s in found.sessions]
    why = ""
    for one in sign_offs(port.folder / found.trainee, found.trainee, call.desk.accounts)[::-1]:
        if one.kind == SIGNED or one.problem:
            problem = why_not_standing(one, found.rule_sha256, here_now)
            if not problem:
                return one.wall, ""
            why = why or problem
    return "", why


HANDLERS = {
    "practice": practice, "trainee": trainee, "trainee_sign": trainee_sign, "trainee_withdraw": trainee_withdraw,
}  # fmt: skip

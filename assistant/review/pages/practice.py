"""Practice: who is ready to be signed off, on what evidence, and the supervisor's signature."""

from __future__ import annotations

from pathlib import Path

from starlette.responses import Response

from assistant.errors import GauntletError, RecordError, UsageError
from assistant.review.call import Call
from assistant.review.pages.sign import components
from assistant.review.practice_signoff import Evidence, EvidencePort, sign_off, sign_offs, why_not

MOST_TRAINEES, MOST_SESSIONS = 500, 100


def practice(call: Call) -> Response:
    """Every trainee, and what is missing until each is ready."""
    port = call.desk.setup.evidence
    rows, broken = [], []
    for name in port.trainees()[:MOST_TRAINEES] if port else []:
        try:
            found = port.of(name)
        except GauntletError as error:
            broken.append((name, error.what))
            continue
        if found is not None:
            rows.append((found, _good(call, port, name)))
    return call.page("practice.html", rows=rows, broken=broken, there=port is not None)


def trainee(call: Call, problem: str = "", status: int = 200) -> Response:
    """One trainee: each demand with what shows it, every session, every tracer wipe, every signature."""
    port, name, found = _wanted(call)
    return call.page(
        "trainee.html",
        status,
        found=found,
        name=name,
        sessions=found.sessions[::-1][:MOST_SESSIONS],
        signed=sign_offs(port.folder / name, found.trainee, call.desk.accounts.keys.public_keys()),
        here_now={s.sha256 for s in found.sessions},
        why_not=why_not(found, call.account),
        problem=problem,
        reason=call.text("reason", 1000),
        ask_name=not call.visit.signed_once,
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
            port.folder / name, found, call.account, key, reason=call.text("reason", 1001), wall=call.desk.now_wall()
        )
    except GauntletError as error:
        return trainee(call, error.what, 400 if isinstance(error, UsageError) else 403)
    call.visit.signed_once = True
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


def _good(call: Call, port: EvidencePort, name: str) -> str:
    """When the newest sign-off that holds was made, or ""."""
    keys = call.desk.accounts.keys.public_keys()
    good = [s.wall for s in sign_offs(Path(port.folder) / name, name, keys) if not s.problem]
    return good[-1] if good else ""


HANDLERS = {"practice": practice, "trainee": trainee, "trainee_sign": trainee_sign}

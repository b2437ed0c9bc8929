"""Who may decide what on a record, and the signature that says so.

The order of the checks is the order a person would ask: is it live, does it hold, is it finished, may I, is
it mine.
The signature itself is the record room's: a line after the seal, covered by its chain (21 CFR 11.70).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from assistant.account.deep import deep_problems
from assistant.errors import RefusedError, UsageError
from assistant.record.lines.envelope import Line
from assistant.record.reader import Record, read_record
from assistant.record.signing.signatures import sign_record, withdraw_signature
from assistant.record.verify import verify
from assistant.review.deciding.decisions import (
    ACCEPTED,
    FINAL,
    MEANINGS,
    PROVISIONAL,
    REJECTED,
    REMARK,
    signed_lines,
    standing,
)
from assistant.review.deciding.holding import why_not_holding
from assistant.review.deciding.site_rule import Provisional, RulesFile
from assistant.review.people.accounts import Account, Accounts
from assistant.review.session.digest import Digest
from assistant.review.session.opened import Opened
from assistant.session.facts import session as session_facts
from assistant.session.facts import steps

MAX_REASON = 1000


@dataclass(frozen=True)
class Choice:
    """A decision that this person may or may not take. `why_not`: in plain words, or ""."""

    decision: str
    meaning: str
    why_not: str = ""


def worked_in(opened: Opened) -> set[str]:
    """Everybody with a hand in the session: at the gauntlets, confirming, or witnessing."""
    kept: set[str] | None = opened.drawn.get("people")
    if kept is not None:
        return kept
    names = {str(opened.record.header.get("technician", ""))}
    for fact in opened.facts:
        if isinstance(fact, session_facts.SessionBegun | session_facts.PersonChanged | steps.StepConfirmed):
            names.add(fact.person)
        if isinstance(fact, session_facts.PersonChanged):
            names.add(fact.before)
        if isinstance(fact, steps.WitnessGiven):
            names.add(fact.person)
    found = opened.drawn["people"] = {name for name in names if name.strip()}
    return found


def cannot_sign(record: Record) -> str:
    """Why nobody may sign this record, or "" (that it holds is checked apart)."""
    if record.kind != "live":
        return f"This is a {record.kind or 'damaged'} record. Only live records are signed."
    if record.problems:
        return "The record doesn't verify. Nothing is signed on it."
    if not record.seal:
        return "The session isn't finished: its record isn't sealed."
    return ""


def choices(opened: Opened, rules: RulesFile, account: Account) -> list[Choice]:
    """Every decision, each with the reason why this person may not take it."""
    record = opened.record
    common = cannot_sign(record)
    if not common and (broken := why_not_holding(opened)):
        common = f"The record doesn't hold. Nothing is signed on it. {broken}"
    purpose = opened.plan.purpose if opened.plan else _purpose(record)
    rule = rules.release_for(purpose)
    own = any(account.goes_by(name) for name in worked_in(opened))
    summary = opened.summary
    now = standing(signed_lines(record))
    found = []
    for decision in (ACCEPTED, REMARK, REJECTED, PROVISIONAL):
        why = common
        if not why and now and now.decision in FINAL:
            why = f"{now.name} decided already. That signature must be withdrawn first."
        if not why and decision in FINAL:
            why = _final_problem(decision, rule.final, account, own, summary)
        elif not why:
            why = _provisional_problem(rule.provisional, account, own, summary, bool(now))
        found.append(Choice(decision, MEANINGS[decision], why))
    return found


def _final_problem(decision: str, roles: Sequence[str], account: Account, own: bool, summary: Digest) -> str:
    if own:
        return "You worked in this session. Somebody else decides on it."
    if account.role not in roles:
        return f"The site's rule leaves this to: {', '.join(roles)}."
    if decision == ACCEPTED and summary.verdict != "complete":
        return "The clean isn't complete. It can be accepted with a remark, or not accepted."
    return ""


def _provisional_problem(rule: Provisional | None, account: Account, own: bool, summary: Digest, there: bool) -> str:
    if rule is None:
        return "The site's rule has no provisional release for this kind of clean."
    if there:
        return "It is released provisionally already."
    if account.role not in rule.by:
        return f"The site's rule leaves this to: {', '.join(rule.by)}."
    if own and not rule.own:
        return "You worked in this session. Somebody else releases it."
    if summary.verdict != "complete":
        return "The clean isn't complete."
    if rule.without_deviation and (summary.deviations or summary.skipped):
        return "There are deviations. It waits for the review."
    return ""


def _purpose(record: Record) -> str:
    procedure = record.header.get("procedure")
    return str(procedure.get("purpose", "")) if isinstance(procedure, dict) else ""


@dataclass(frozen=True)
class Wish:
    """What the form asked for. `decision`: one of `decisions`; `must_happen`: for what isn't accepted."""

    decision: str
    reason: str
    must_happen: str = ""


def check_wish(wish: Wish, allowed: list[Choice]) -> None:
    """Raises RefusedError for a decision this person may not take, UsageError for a form that isn't filled
    in."""
    choice = next((c for c in allowed if c.decision == wish.decision), None)
    if choice is None:
        raise UsageError("Choose a decision first.")
    if choice.why_not:
        raise RefusedError(choice.why_not)
    if not wish.reason.strip():
        raise UsageError("A decision needs its reason.", try_next="Say in one sentence what you looked at.")
    if wish.decision == REJECTED and not wish.must_happen.strip():
        raise UsageError("A clean that isn't accepted needs what must happen now.")
    if len(wish.reason) > MAX_REASON or len(wish.must_happen) > MAX_REASON:
        raise UsageError(f"At most {MAX_REASON} characters, please.")


def sign(
    folder: Path,
    opened: Opened,
    rules: RulesFile,
    accounts: Accounts,
    account: Account,
    passphrase: str,
    wish: Wish,
    *,
    wall: str,
    allowed: list[Choice] | None = None,
) -> Line:
    """Sign. Both components were given by the caller: the account's name and `passphrase`, which opens its
    key.

    Raises RefusedError (not allowed, wrong passphrase, practice), RecordError (doesn't verify), UsageError.
    """
    check_wish(wish, allowed if allowed is not None else choices(opened, rules, account))
    report = verify(folder, public_keys=accounts.keys.public_keys())
    if not report.complete:
        raise RefusedError(
            f"The record doesn't verify: {(report.problems or ['it is not sealed'])[0]}",
            try_next="Don't release on it. Run 'assistant verify' and keep a copy.",
        )
    for problem in deep_problems(folder):
        raise RefusedError(
            f"The record is whole, but no session of this program wrote it: {problem}",
            try_next="Don't release on it. Run 'assistant verify --deep' and keep a copy.",
        )
    key = accounts.keys.unlock(account.name, passphrase)
    details = {
        "decision": wish.decision,
        "reason": wish.reason.strip(),
        "must_happen": wish.must_happen.strip(),
        "role": account.role,
        "printed_name": account.name,
    }
    return sign_record(
        folder, key, meaning=MEANINGS[wish.decision], wall=wall, details=details, may=partial(_still_open, wish.decision)
    )


def _still_open(decision: str, record: Record) -> None:
    """Raises RefusedError where somebody decided while the form was being filled in."""
    now = standing(signed_lines(record))
    if now and (now.decision in FINAL or decision == PROVISIONAL):
        raise RefusedError(
            f"{now.name} has decided on this clean meanwhile.",
            try_next="Open its page again. To decide otherwise, that signature is withdrawn first.",
        )


def withdraw(
    folder: Path, accounts: Accounts, account: Account, passphrase: str, *, line: int, reason: str, wall: str
) -> Line:
    """Withdraw one's own signature in `line`: a new line after it. Raises as `sign`."""
    if not reason.strip() or len(reason) > MAX_REASON:
        raise UsageError("A withdrawal needs its reason.")
    record = read_record(folder)
    mine = {s.line for s in signed_lines(record) if s.kind == "record_signed" and account.goes_by(s.name)}
    if line not in mine:
        raise RefusedError("Only who signed can withdraw a signature.")
    key = accounts.keys.unlock(account.name, passphrase)
    return withdraw_signature(folder, key, line=line, reason=reason.strip(), wall=wall)

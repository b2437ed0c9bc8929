"""Whether a sealed record holds: its chain and seal, and its facts folded to the state that was sealed.

A record may be whole line by line and still be no session: somebody else's hand can chain and seal anything. So a
clean counts only where the core can follow every fact of it, and ends where the seal says.
"""

from __future__ import annotations

from assistant.account.digest import state_sha256
from assistant.record.verify import verify_read
from assistant.review.session.opened import Opened


def is_paper(opened: Opened) -> bool:
    """Kept on paper and typed in afterwards: there is nothing to fold."""
    return opened.record.header.get("transcribed") is True


def why_not_holding(opened: Opened) -> str:
    """Why a record doesn't hold, in words, or ""; of one that isn't sealed only what its lines show.

    Worked out once. The witness log and the files beside aren't asked here."""
    if "not holding" not in opened.drawn:
        opened.drawn["not holding"] = _why_not(opened)
    return str(opened.drawn["not holding"])


def _why_not(opened: Opened) -> str:
    record = opened.record
    if record.problems:
        return record.problems[0]
    if not record.seal:
        sealed_once = any(line.kind == "record_sealed" for line in record.lines)
        return "Lines stand after the seal, where only signatures and withdrawals may." if sealed_once else ""
    found = verify_read(record)
    if not found.complete:
        return found.problems[0]
    if is_paper(opened):
        return "It says it was kept on paper, but holds facts of a watched session." if opened.facts else ""
    state = None if opened.problem else opened.state_at(opened.end_ms)
    if state is None:
        return f"It can't be folded again: {opened.problem or 'there is no plan beside it.'}"
    if len(opened.facts) != opened.count_at(opened.end_ms):
        return "Its facts lie after its end."
    sealed = record.seal.data.get("state_sha256")
    if sealed and sealed != state_sha256(state, record.rules):
        return "Folded again it ends in another state than the one that was sealed."
    return ""

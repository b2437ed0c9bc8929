"""The proof an approval needs, in one line. Raises where the prover refutes or can't run."""

from __future__ import annotations

from typing import Any

from assistant.errors import FindingsError, RefusedError


def proof_line(loaded: Any) -> str:
    """What was proven, for the statement that is signed. Raises FindingsError when a property is refuted."""
    try:
        from assistant.prover.proof import prove_procedure
    except ImportError as error:
        raise RefusedError(
            "Nothing can be approved: the prover isn't installed here.", try_next="Use the whole checkout."
        ) from error
    verdict = prove_procedure(loaded, shown=True)
    if not verdict.proven:
        raise FindingsError(
            "The proof refutes a property, so nothing is signed.",
            where=loaded.procedure.id,
            expected="a proof of every property",
            try_next=f"assistant prove {loaded.procedure.id}",
        )
    bound = f", within: {verdict.bounded}" if verdict.bounded else ""
    return f"{verdict.states} states, {verdict.transitions} transitions, every property holds{bound}"

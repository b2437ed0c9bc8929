"""The proof of a procedure: every reachable state of the real core, watched by a monitor of its own."""

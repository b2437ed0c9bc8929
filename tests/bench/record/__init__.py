"""Figures and long proofs of the record room: speed, the kill harness, tamperings."""

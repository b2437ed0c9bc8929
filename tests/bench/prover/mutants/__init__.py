"""Seeded faults: what the prover must find. The operators came before the prover was tuned."""

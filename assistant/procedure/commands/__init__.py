"""Commands of the procedure room that need another room's help: approval needs the key store and the prover."""

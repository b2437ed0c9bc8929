"""One line and a file of them: canonical bytes, chain, seal, and the reading that tells torn from malformed. Old files hang
on every byte: change nothing that is written."""

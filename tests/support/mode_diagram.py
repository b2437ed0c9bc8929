"""`python -m tests.support.mode_diagram`: the mode table as a Mermaid diagram, for the block in DEVELOPERS.md."""

from __future__ import annotations

import sys

from assistant.session.modes import diagram

if __name__ == "__main__":
    sys.stdout.write(f"```mermaid\n{diagram()}\n```\n")

"""`python -m tests.support.mode_diagram`: the mode table as a Mermaid diagram, for the block in the handbook (`assistant/handbook/core.md`)."""

from __future__ import annotations

import sys

from assistant.session.modes import diagram

if __name__ == "__main__":
    sys.stdout.write(f"```mermaid\n{diagram()}\n```\n")

"""Where the command line finds `assistant approve`; it lives among the commands that need another room."""

from __future__ import annotations

from assistant.procedure.commands.approve_cli import approve

__all__ = ["approve"]

"""The one error of the launcher: a plain sentence, what to try, and an exit code."""

from __future__ import annotations

from pathlib import Path

EXIT_UNSUITABLE = 2
EXIT_STORAGE = 6
EXIT_PACKAGES = 11


class StartProblem(Exception):
    """The assistant can't start. `what`: a sentence; `try_next`: what the person can do; `exit_code`: 2, 6, 11."""

    nothing_installed = False   # True where pip failed before it put anything into the environment

    def __init__(self, what: str, try_next: str, exit_code: int) -> None:
        super().__init__(what)
        self.what = what
        self.try_next = try_next
        self.exit_code = exit_code

    def message(self) -> str:
        """The text for the screen, in the form of `assistant.errors.GauntletError`."""
        return f"{self.what}\n  Try: {self.try_next}" if self.try_next else self.what


class NoneFits(StartProblem):
    """The package index answers, but offers no ready-made package of this pin for this Python and system."""

    def __init__(self, pin: str, log: Path) -> None:
        """`pin`: such as "wheelly==1.0"; `log`: pip's output. Exit code 11."""
        super().__init__(f"The package index has no ready-made {pin} for this Python and system.",
                         f"another Python from 3.11 to 3.13, or another index (details: {log})", EXIT_PACKAGES)
        self.pin = pin

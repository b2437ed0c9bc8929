"""The one error of the launcher: a plain sentence, what to try, and an exit code."""

from __future__ import annotations

EXIT_UNSUITABLE = 2
EXIT_STORAGE = 6
EXIT_PACKAGES = 11


class StartProblem(Exception):
    """The assistant can't start. `what`: a sentence; `try_next`: what the person can do; `exit_code`: 2, 6, 11."""

    def __init__(self, what: str, try_next: str, exit_code: int) -> None:
        super().__init__(what)
        self.what = what
        self.try_next = try_next
        self.exit_code = exit_code

    def message(self) -> str:
        """The text for the screen, in the form of `assistant.errors.GauntletError`."""
        return f"{self.what}\n  Try: {self.try_next}" if self.try_next else self.what

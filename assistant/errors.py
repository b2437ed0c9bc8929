"""Errors a person sees: what happened, where, what was expected, what to try; each with its exit code.

A bug is not one of these: the command line gives bugs exit code 70 so that a script can tell them apart.
"""

from __future__ import annotations


class GauntletError(Exception):
    """An expected failure with a plain message.

    `what`: one sentence saying what is wrong. `where`: file, file:line or device, or "".
    `expected`: what would have been right, or "". `try_next`: what the person can do now, or "".
    """

    exit_code = 1

    def __init__(self, what: str, *, where: str = "", expected: str = "", try_next: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.expected = expected
        self.try_next = try_next

    def format_message(self) -> str:
        """The message as shown: one line each for place, expectation and next step, where there is one."""
        lines = [f"{self.where}: {self.what}" if self.where else self.what]
        if self.expected:
            lines.append(f"  Expected: {self.expected}")
        if self.try_next:
            lines.append(f"  Try: {self.try_next}")
        return "\n".join(lines)

    def __str__(self) -> str:
        return self.format_message()


class FindingsError(GauntletError):
    """A check or proof found something wrong with readable files."""

    exit_code = 1


class SiteFileError(GauntletError):
    """A site file can't be read or isn't valid."""

    exit_code = 2


class UsageError(GauntletError):
    """A command was given words it can't use."""

    exit_code = 2


class SoundDeviceError(GauntletError):
    """No microphone or loudspeaker, or it went away before the start."""

    exit_code = 3


class ModelError(GauntletError):
    """No speech model, not a speech model, or one that lacks a word."""

    exit_code = 4


class SoundFileError(GauntletError):
    """A sound file that isn't one, or has the wrong rate or shape."""

    exit_code = 5


class StorageError(GauntletError):
    """A folder can't be written or the disk is full."""

    exit_code = 6


class RecordError(GauntletError):
    """A record can't be read, doesn't verify, or is in use."""

    exit_code = 7


class ReplayMismatchError(GauntletError):
    """A record doesn't replay to the state and lines it holds."""

    exit_code = 8


class VoiceError(GauntletError):
    """The synthesiser can't speak."""

    exit_code = 9


class RefusedError(GauntletError):
    """Something that may not be done: not approved, not allowed, not yours to sign."""

    exit_code = 10


EXIT_NOT_COMPLETE = 12  # a live session that ended, but not complete: stopped, left, or something skipped
EXIT_BUG = 70
EXIT_INTERRUPTED = 130

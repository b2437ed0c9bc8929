"""What the pages need from other rooms, handed in as plain functions, so that no page knows those rooms.

The one module of this room that may reach the voice and the trainees' evidence (tests/test_rooms.py).
"""

from __future__ import annotations

import io
import threading
import wave
from collections.abc import Callable
from datetime import date
from pathlib import Path

from assistant.errors import GauntletError, RecordError
from assistant.practice.evidence.command import evidence_folder
from assistant.practice.evidence.signoff import Session, TraineeFile, covered, readiness
from assistant.practice.evidence.site_rule import site_rule
from assistant.practice.trainee.folder import trainee_folder as _trainee_folder
from assistant.record.reader import read_record
from assistant.review.people.practice_signoff import Evidence, EvidencePort, PractisedSession
from assistant.speaking.open_voice import open_voice
from assistant.speaking.voice import VOICES, Voice


class SpeakAgain:
    """Text to WAV bytes with the assistant's own voice, started when it is first asked for."""

    def __init__(self) -> None:
        self._voices: dict[str, Voice] = {}
        self._lock = threading.Lock()

    def __call__(self, text: str, language: str) -> bytes:
        """The sound of `text`. Raises RecordError where it can't be spoken."""
        try:
            with self._lock:
                voice = self._voices.get(language)
                if voice is None:
                    voice = self._voices[language] = open_voice(VOICES[language], shape=language == "en")
                clip = voice.render(text)
        except (GauntletError, KeyError) as error:
            raise RecordError(
                "This line can't be spoken again.", try_next="Read it under 'Everything said and heard'."
            ) from error
        held = io.BytesIO()
        with wave.open(held, "wb") as out:
            out.setnchannels(1)
            out.setsampwidth(2)
            out.setframerate(clip.rate_hz)
            out.writeframes(clip.samples.tobytes())
        return held.getvalue()

    def close(self) -> None:
        """Let go of the voices' processes."""
        with self._lock:
            for voice in self._voices.values():
                voice.close()
            self._voices.clear()


def practice_evidence(
    folder: Path | None = None, rule: Path | None = None, today: Callable[[], date] = date.today
) -> EvidencePort:
    """The trainees' evidence in `folder` (None: where practice keeps it), held against the site's rule. Raises UsageError
    where `rule` isn't the site's, SiteFileError for a broken one."""
    place = evidence_folder(folder)
    site_rule(place, rule)  # at the start, not at the first page

    def trainees() -> list[str]:
        try:
            return sorted(p.name for p in place.iterdir() if p.is_dir() and not p.is_symlink() and p.name[0] != ".")
        except OSError:
            return []

    def of(name: str) -> Evidence:
        wanted, file = site_rule(place, rule), TraineeFile(place / name)
        sessions, tracers = file.sessions(), file.tracers()
        found = readiness(name, wanted, sessions, tracers, today())
        return Evidence(
            name,
            _names(sessions),
            wanted.id,
            wanted.title,
            wanted.sha256,
            covered(wanted, sessions),
            tuple((d.what, d.met, d.evidence) for d in found.demands),
            tuple(
                PractisedSession(
                    s.record, s.seal_sha256, s.day, s.procedure, s.level, s.verdict, s.total, s.critical, s.mishaps_ok,
                    s.true_waits,
                )
                for s in sessions
            ),
            tuple((t.observer, t.day, t.passed, t.remark) for t in tracers),
        )

    return EvidencePort(trainees, of, place)


def own_folder(port: EvidencePort, person: str) -> str:
    """The name of the folder where `person`'s evidence is or would go. Raises UsageError for a name that can't be one."""
    return _trainee_folder(port.folder, person).name


def trainee_folder(port: EvidencePort, name: str) -> str:
    """The folder's name of a trainee called `name`, which may also be the folder's own. Raises UsageError for a name that
    can't be one."""
    theirs, there = own_folder(port, name), port.trainees()
    return name if theirs not in there and name in there else theirs


def _names(sessions: list[Session]) -> tuple[str, ...]:
    """The names the trainee's own records give, newest first."""
    found: dict[str, None] = {}
    for session in sessions[::-1][:20]:
        try:
            found.setdefault(str(read_record(Path(session.record)).header.get("technician", "")), None)
        except GauntletError:
            continue
    return tuple(name for name in found if name)

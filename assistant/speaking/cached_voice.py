"""Any voice, with its lines shaped for speech, kept once rendered, and rendered ahead in the background."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterable, Mapping
from pathlib import Path

from assistant.errors import VoiceError
from assistant.speaking.clip_cache import ClipCache, clip_key
from assistant.speaking.spoken_text import pronounced, spoken
from assistant.speaking.voice import CLIP_RATE_HZ, Clip, Voice, VoiceSettings


class CachedVoice:
    """`Voice` around another: text shaping, a pronunciation map (written name -> spoken form), a cache.

    `folder`: where clips are kept between runs (None: memory only). `shape` False passes lines on as they
    are, for languages other than English. Owns `inner` and closes it.
    """

    def __init__(
        self,
        inner: Voice,
        *,
        folder: Path | None = None,
        pronunciations: Mapping[str, str] | None = None,
        shape: bool = True,
    ) -> None:
        self._inner = inner
        self._cache = ClipCache(folder)
        self._pronunciations = dict(pronunciations or {})
        self._shape = shape
        self._lock = threading.RLock()
        self._waiting: queue.SimpleQueue[tuple[str, VoiceSettings] | None] = queue.SimpleQueue()
        self._open = 0
        self._all_done = threading.Condition()
        self._thread: threading.Thread | None = None
        self._closed = False
        self.hits = 0
        self.misses = 0
        self.failed_ahead: list[str] = []

    @property
    def settings(self) -> VoiceSettings:
        return self._inner.settings

    @settings.setter
    def settings(self, settings: VoiceSettings) -> None:
        with self._lock:
            self._inner.settings = settings

    def spoken_form(self, line_text: str) -> str:
        """The words that are really said for a line as written."""
        text = pronounced(line_text, self._pronunciations)
        return spoken(text) if self._shape else text

    def render(self, line_text: str) -> Clip:
        with self._lock:
            if self._closed:
                raise VoiceError("This voice is closed.", try_next="make a new one")
            return self._render(line_text)

    def is_ready(self, line_text: str) -> bool:
        """True when `render` would answer from the cache."""
        with self._lock:
            return self._cache.get(self._key(self.spoken_form(line_text))) is not None

    def prepare(self, lines: Iterable[str]) -> None:
        """Render lines ahead in a background thread, in this order, with the settings of now.

        A line asked for by `render` meanwhile waits for at most one of them. Lines that fail are named in
        `failed_ahead` and raise when they are asked for.
        """
        settings = self.settings
        for line in dict.fromkeys(lines):
            with self._all_done:
                self._open += 1
            self._waiting.put((line, settings))
        if self._thread is None and not self._closed:
            self._thread = threading.Thread(target=self._render_ahead, name="voice-ahead", daemon=True)
            self._thread.start()

    def wait_prepared(self, timeout_s: float) -> bool:
        """Wait until everything given to `prepare` is rendered; False when it isn't within `timeout_s`."""
        with self._all_done:
            return self._all_done.wait_for(lambda: self._open == 0, timeout_s)

    def describe(self) -> dict[str, object]:
        return self._inner.describe()

    def close(self) -> None:
        self._closed = True
        self._waiting.put(None)
        if self._thread is not None:
            self._thread.join(timeout=10)
        with self._lock:
            self._inner.close()

    def __enter__(self) -> CachedVoice:
        return self

    def __exit__(self, *_exc: object) -> None:
        self.close()

    def _key(self, form: str) -> str:
        return clip_key(form, self._inner.describe())

    def _render(self, line_text: str) -> Clip:
        form = self.spoken_form(line_text)
        key = self._key(form)
        samples = self._cache.get(key)
        if samples is not None:
            self.hits += 1
            return Clip(samples, CLIP_RATE_HZ, line_text)
        self.misses += 1
        clip = self._inner.render(form)
        self._cache.put(key, clip.samples)
        return Clip(clip.samples, clip.rate_hz, line_text)

    def _render_ahead(self) -> None:
        while (item := self._waiting.get()) is not None:
            line, settings = item
            try:
                with self._lock:
                    if not self._closed and settings == self._inner.settings:
                        self._render(line)
            except VoiceError:
                self.failed_ahead.append(line)
            finally:
                with self._all_done:
                    self._open -= 1
                    self._all_done.notify_all()

"""What the same engine does on its own: its plain grammar of all commands and its own endpointing."""

from __future__ import annotations

import json
import tempfile
import time
from pathlib import Path

from assistant.hearing.sound.frames import RATE_HZ
from assistant.hearing.utterance import Utterance
from assistant.hearing.vocabulary.lexicon import bundled_dictionary_path, dictionary, pronounce
from assistant.hearing.vocabulary.packs import Pack


class PocketsphinxBaseline:
    """Endpointer and grammar as the package offers them; any result counts. Has `feed`, `flush`, `engine_s`."""

    def __init__(self, pack: Pack) -> None:
        import pocketsphinx

        self._pack = pack
        self.engine_s = 0.0
        self._endpointer = pocketsphinx.Endpointer()
        self._frame_bytes = self._endpointer.frame_bytes
        known = dictionary(bundled_dictionary_path())
        self._token = {f: f"C{k}" for k, f in enumerate(pack.forms)}
        self._form = {t: f for f, t in self._token.items()}
        lines = [f"{self._token[f]}{'' if k == 0 else f'({k + 1})'} {p}" for f in pack.forms
                 for k, p in enumerate(pronounce(f, known, pack.pronunciations))]
        with tempfile.TemporaryDirectory() as scratch:
            path = Path(scratch) / "words.dict"
            path.write_text("\n".join(lines) + "\n", encoding="utf-8")
            self._decoder = pocketsphinx.Decoder(lm=None, dict=str(path), loglevel="FATAL")
        self._decoder.add_jsgf_string("commands", "#JSGF V1.0;\ngrammar commands;\npublic <c> = "
                                      + " | ".join(self._form) + ";\n")
        self._decoder.activate_search("commands")
        self._rest = b""
        self._fed = 0
        self._started = 0.0
        self._open = False

    def feed(self, pcm: bytes) -> list[Utterance]:
        self._rest += pcm
        out = []
        while len(self._rest) >= self._frame_bytes:
            frame, self._rest = self._rest[: self._frame_bytes], self._rest[self._frame_bytes:]
            self._fed += len(frame) // 2
            before = self._endpointer.in_speech
            speech = self._endpointer.process(frame)
            if speech is None:
                continue
            begun = time.perf_counter()
            if not before:
                self._decoder.start_utt()
                self._open = True
                self._started = self._endpointer.speech_start
            self._decoder.process_raw(speech)
            if not self._endpointer.in_speech:
                out += self._finish(self._endpointer.speech_end)
            self.engine_s += time.perf_counter() - begun
        return out

    def flush(self) -> list[Utterance]:
        return self._finish(self._fed / RATE_HZ) if self._open else []

    def _finish(self, end_s: float) -> list[Utterance]:
        begun = time.perf_counter()
        self._decoder.end_utt()
        self._open = False
        hyp = self._decoder.hyp()
        form = self._form.get(hyp.hypstr) if hyp else None
        if form is None:
            return []
        return [Utterance(self._started, end_s, self._fed / RATE_HZ, self._pack.word_of(form), None, form, True, "", 1.0,
                          compute_after_s=time.perf_counter() - begun)]


class VoskBaseline:
    """A recogniser with the plain grammar, its own endpoints; a text that is one command counts."""

    def __init__(self, pack: Pack, folder: Path) -> None:
        import vosk

        vosk.SetLogLevel(-2)
        self._pack = pack
        self.engine_s = 0.0
        self._model = vosk.Model(model_path=str(folder))
        self._recogniser = vosk.KaldiRecognizer(self._model, RATE_HZ, json.dumps(pack.forms, ensure_ascii=False))
        self._recogniser.SetWords(True)
        self._fed = 0

    def feed(self, pcm: bytes) -> list[Utterance]:
        begun = time.perf_counter()
        self._fed += len(pcm) // 2
        done = self._recogniser.AcceptWaveform(pcm)
        out = self._result(self._recogniser.Result()) if done else []
        self.engine_s += time.perf_counter() - begun
        return out

    def flush(self) -> list[Utterance]:
        return self._result(self._recogniser.FinalResult())

    def _result(self, text: str) -> list[Utterance]:
        found = json.loads(text)
        word = self._pack.word_of(found.get("text", ""))
        parts = found.get("result", [])
        if word is None or not parts:
            return []
        return [Utterance(parts[0]["start"], parts[-1]["end"], self._fed / RATE_HZ, word, None, found["text"], True, "", 1.0)]

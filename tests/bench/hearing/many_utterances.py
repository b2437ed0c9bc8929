"""Thousands of utterances through one open engine: does it stay up, how many words are right, how long is a decision?

Made for the Korean pack, which stands in for the Vosk adapter where no English model is installed: every word in many
renderings, clean and in fan noise, every tenth utterance something else (a burst, or English chat). Synthetic speech
only, and no promise for human Korean.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator

import numpy as np

from assistant.hearing.vocabulary.packs import Pack
from tests.bench.hearing import chain, memory, noises, sentences, voices
from tests.bench.hearing.mixing import mix
from tests.bench.hearing.negatives import Piece
from tests.bench.hearing.rates import rate

SNRS: tuple[tuple[str, float | None], ...] = (("clean", None), ("20 dB", 20.0), ("15 dB", 15.0), ("10 dB", 10.0))
A_RECORDING = 100        # pieces in one mixture; the engine stays open over all of them
EVERY_ELSE = 10
# The sixteen words of the first look, all heard then with one voice; the pack has exchanged one of them since.
FIRST_LOOK = ("오케이", "넘기기", "다시", "잠깐", "이어서", "아니요", "아닙니다", "취소", "남은 시간", "보고", "문제", "이상", "알람", "비상",
              "마지막", "마무리")


def renderings() -> Iterator[str]:
    """Voices of the Korean synthesiser, other pitches and paces, endlessly round."""
    while True:
        for voice in ("ko+f2", "ko+klatt2", "ko+m3", "ko+f4"):
            for pitch in (35, 45, 55, 65):
                for pace in (130, 140, 150):
                    yield f"espeak:{voice}:{pitch}:{pace}"


def many_utterances(make: Callable[[], object], pack: Pack, count: int, named: str,
                    say: Callable[[str], None] = lambda text: None) -> dict[str, object]:
    """`make` gives a listener on an engine that stays open; `named`: the voice held to all words clean.

    {"utterances", "crashes", "recall" by SNR, "wrong", "false_accepts", "decision_ms", "named_voice", ...}
    """
    first = _named(make, pack, named)
    right: dict[str, list[int]] = {name: [0, 0] for name, _ in SNRS}
    wrong, accepted_else = [0, 0], [0, 0]
    latencies: dict[str, list[float]] = {name: [] for name, _ in SNRS}
    confusions: Counter[str] = Counter()
    engine, start = None, memory.rss_mib()
    most, done, supply = start, 0, _pieces(pack)
    while done < count:
        name, snr = SNRS[done // A_RECORDING % len(SNRS)]
        pieces = [next(supply) for _ in range(min(A_RECORDING, count - done))]
        pcm, placed = mix(pieces, snr, 4000 + done, "report")
        listener = make()
        engine = listener.engine
        outcomes, _ = chain.run(listener, pcm, placed)
        for o in outcomes:
            heard = [u.word for u in o.accepted]
            if not o.piece.truth:
                accepted_else[0] += bool(heard)
                accepted_else[1] += 1
            else:
                right[name][0] += o.right
                right[name][1] += 1
                wrong[0] += o.wrong
                wrong[1] += 1
                late = o.latency_s()
                latencies[name] += [] if late is None else [late]
            confusions.update(f"{o.piece.label} -> {u.said}" for u in o.accepted if u.word != o.piece.truth)
        done += len(pieces)
        held = memory.rss_mib()
        most = max(most, held) if most is not None and held is not None else held
        say(f"{done} of {count}: {name} {right[name]}, wrong {wrong[0]}, restarts {getattr(engine, 'restarts', 0)}, {held} MiB")
    everything = [v for found in latencies.values() for v in found]
    crashes = int(getattr(engine, "restarts", 0))
    return {
        "utterances": done, "crashes": crashes, "crash_rate": rate(crashes, done),
        "recall": {name: rate(*v) for name, v in right.items()}, "wrong": rate(*wrong), "false_accepts": rate(*accepted_else),
        "decision_ms": {"all": _spread(everything), **{name: _spread(found) for name, found in latencies.items()}},
        "named_voice": first, "rss_start_mib": start, "rss_end_mib": memory.rss_mib(), "rss_max_mib": most,
        "confusions": dict(confusions.most_common(20)),
    }


def _named(make: Callable[[], object], pack: Pack, voice: str) -> dict[str, object]:
    """All words of the pack, clean, by the voice that is named for them; among them those of the first look."""
    pieces = [(word, forms[0], voices.render(forms[0], voice)) for word, forms in pack.say.items()]
    pcm, placed = mix(pieces, None, 41, "report")
    outcomes, _ = chain.run(make(), pcm, placed)
    looked = [o for o in outcomes if o.piece.label in FIRST_LOOK]
    return {"voice": voice, "of_first_look": [sum(o.right for o in looked), len(looked)],
            "no_longer_in_the_pack": [form for form in FIRST_LOOK if pack.word_of(form) is None],
            "of_all": [sum(o.right for o in outcomes), len(outcomes)], "wrong": sum(o.wrong for o in outcomes),
            "missed": [o.piece.label for o in outcomes if not o.right]}


def _pieces(pack: Pack) -> Iterator[Piece]:
    """(truth, label, wave) for ever: each word by each rendering in turn, every tenth something that is no word."""
    forms = [(word, form) for word, said in pack.say.items() for form in said]
    chat = sentences.CHAT["report"]
    kinds = sorted(noises.KINDS)
    k = 0
    for voice in renderings():
        for word, form in forms:
            k += 1
            if k % EVERY_ELSE == 0:
                if k % (2 * EVERY_ELSE):
                    kind = kinds[k // EVERY_ELSE % len(kinds)]
                    yield "", kind, noises.burst(kind, 2000 + k)
                else:
                    text = chat[k // EVERY_ELSE % len(chat)]
                    yield "", text, voices.render(text, voices.FORMANT_REPORT[k % len(voices.FORMANT_REPORT)])
            yield word, form, voices.render(form, voice)


def _spread(found: list[float]) -> dict[str, float | None]:
    if not found:
        return {"p50": None, "p95": None, "n": 0}
    return {"p50": round(1000 * float(np.percentile(found, 50))), "p95": round(1000 * float(np.percentile(found, 95))),
            "n": len(found)}

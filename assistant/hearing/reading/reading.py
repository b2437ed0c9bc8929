"""What the speech model makes of an utterance: its free text, and how likely each of our own words is beside it.

Both are read side by side, piece by piece. Ours are held in a graph of pieces, so that what begins alike is read once,
and what falls far behind is dropped.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from assistant.hearing.reading.speech_model import Reader, SpeechModel
from assistant.hearing.reading.word_pieces import BEGIN, END, SPACE, WordPieces

PAUSES = (",", ";", ":", "-", "\u2014")
CLOSING = (".", ",", "!", "?", "...")
START, CLOSED = "start", "closed"
FAR_BEHIND = 13.0      # of log probability, behind the best reading so far: such a word isn't read on
MOST_BESIDE = 12       # readings of our words kept a step
LONGEST_TEXT = 24      # pieces of free text: longer is a sentence anyway
MOST_PAUSES = 8        # of the free text: more is the model going round in circles


@dataclass(frozen=True)
class Reading:
    """`text`: free text, lower case, without marks. `text_log`: its log probability. `log`: of each sequence of our
    words that wasn't dropped on the way."""

    text: str
    text_log: float
    log: dict[tuple[str, ...], float]


@dataclass
class _Place:
    """A place in the graph: pieces that may follow, and the words that end here with the state they lead to."""

    following: dict[int, _Place] = field(default_factory=dict)
    ends: list[tuple[str, str]] = field(default_factory=list)


class Graph:
    """Sequences of words, as states. A mark may follow the last word; then the text must end: "say again, she said" is
    no "say again"."""

    def __init__(self, pieces: WordPieces) -> None:
        self._pieces, self.states, self.accepting = pieces, {START: _Place()}, set[str]()

    def add(self, state: str, word: str, ways: tuple[str, ...], leads_to: str, *, first: bool = True) -> None:
        """In `state`, `word` may follow, written in any of `ways`. `first`: nothing stands before it."""
        for way in ways:
            place = self.states.setdefault(state, _Place())
            for number in self._pieces.encode(way, first):
                place = place.following.setdefault(number, _Place())
            if (word, leads_to) not in place.ends:
                place.ends.append((word, leads_to))

    def accept(self, *states: str) -> None:
        """A sequence may end in these, with a mark or without."""
        self.accepting |= {*states, CLOSED}
        for state in states:
            self.add(state, "", CLOSING, CLOSED, first=False)


@dataclass(frozen=True)
class _Branch:
    place: _Place
    log: float
    row: int            # of the step that was read last
    piece: int
    said: tuple[str, ...] = ()


class Readings:
    """Reads utterances with one model against a graph."""

    def __init__(self, model: SpeechModel) -> None:
        self._model = model
        self._pauses = {n for m in PAUSES for n in (model.pieces.number(m), model.pieces.number(SPACE + m)) if n is not None}

    def listen(self, pcm: bytes) -> np.ndarray:
        """What `read` takes, of one utterance: 16 kHz mono int16."""
        return self._model.listen(pcm)

    def read(self, sound: np.ndarray, graph: Graph) -> Reading:
        """`sound`: from `listen`."""
        reader = Reader(self._model, sound)
        parents, numbers = [0], [BEGIN]
        free: list[int] = []
        free_log, free_open, pauses = 0.0, True, 0
        branches = [_Branch(graph.states[START], 0.0, 0, BEGIN)]
        found: dict[tuple[str, ...], float] = {}
        while True:
            logs = reader.step(parents, numbers)
            ends = logs[:, END]
            grown: list[_Branch] = []
            for branch in branches:
                _grow(branch, graph, logs, ends, found, grown)
            if free_open:
                row = len(numbers) - 1           # the free text is always the last reading of a step
                piece = int(logs[row].argmax())
                pauses += piece in self._pauses
                free_log += float(logs[row, piece])
                if piece == END or pauses > MOST_PAUSES or len(free) >= LONGEST_TEXT:
                    free_open = False
                else:
                    free.append(piece)
            # Something still being read can only lose, so what is behind an end already found is dropped as well.
            best = max([b.log for b in grown] + [*found.values()], default=-math.inf)
            grown = sorted((b for b in grown if b.log > best - FAR_BEHIND), key=lambda b: -b.log)[:MOST_BESIDE]
            if not grown and not free_open:
                return Reading(_plain(self._model.pieces.text(free)), free_log, found)
            free_row = len(numbers) - 1
            parents, numbers = [b.row for b in grown], [b.piece for b in grown]
            branches = [_Branch(b.place, b.log, k, b.piece, b.said) for k, b in enumerate(grown)]
            if free_open:
                parents, numbers = [*parents, free_row], [*numbers, free[-1]]


def _grow(branch: _Branch, graph: Graph, logs: np.ndarray, ends: np.ndarray, found: dict[tuple[str, ...], float], grown: list[_Branch]) -> None:
    """Where `branch` may go by one piece; what it may end as goes into `found`."""
    row = logs[branch.row]
    ways = [(branch.place, branch.said)]
    for word, state in branch.place.ends:
        said = (*branch.said, word) if word else branch.said
        if state in graph.accepting:
            log = branch.log + float(ends[branch.row])
            found[said] = float(np.logaddexp(found[said], log)) if said in found else log
        if state in graph.states:
            ways.append((graph.states[state], said))
    for place, said in ways:
        grown += [_Branch(following, branch.log + float(row[piece]), branch.row, piece, said)
                  for piece, following in place.following.items()]


def ways_to_write(form: str) -> tuple[str, ...]:
    """How the model may write a spoken form: with and without capitals, with a pause between words."""
    plain = " ".join("I" if w == "i" else w for w in form.split())
    words = plain.split()
    ways = [plain, *(f"{' '.join(words[:k])}, {' '.join(words[k:])}" for k in range(1, len(words)))]
    ways += [way[0].upper() + way[1:] for way in ways]
    return tuple(dict.fromkeys([*ways, " ".join(w.capitalize() for w in words)]))


def _plain(text: str) -> str:
    return " ".join("".join(c if c.isalnum() or c == "'" else " " for c in text.lower()).split())

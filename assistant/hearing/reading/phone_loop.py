"""The likeliest row of words in an utterance's phones, whatever their order: for numbers and lots.

A Viterbi search over words side by side, each a row of phones with blanks between (as in `phone_paths`), any of which may
follow any other. What makes no value is for the caller to refuse.
"""

from __future__ import annotations

import numpy as np

WORD_COSTS = 2.0         # of log probability: without it a word falls apart into short ones


class WordLoop:
    """Words made ready once. `spoken`: (word, its phones by their column, 1 and up), a word as often as it has
    pronunciations."""

    def __init__(self, spoken: list[tuple[str, list[int]]]) -> None:
        self._words = [word for word, _ in spoken]
        # State 0 is the blank between words. Of each word: its first phone, then a blank and a phone in turn.
        labels, self._first, self._last = [0], [], []
        for _, phones in spoken:
            self._first.append(len(labels))
            for k, phone in enumerate(phones):
                labels += [0, phone] if k else [phone]
            self._last.append(len(labels) - 1)
        self._labels = np.array(labels)
        first, last = np.array(self._first), np.array(self._last)
        inner = np.ones(len(labels), dtype=bool)
        inner[first] = inner[0] = False
        self._inner = np.flatnonzero(inner)
        phones = self._inner[self._labels[self._inner] != 0]
        self._skipping = phones[self._labels[phones] != self._labels[phones - 2]]
        # [i, j]: word j may follow word i without a blank between.
        self._joins = self._labels[last][:, None] != self._labels[first][None, :]

    def likeliest(self, logs: np.ndarray) -> tuple[str, ...]:
        """The words; () where silence is likelier than any. `logs`: (frames, phones + 1)."""
        labels, first, last = self._labels, np.array(self._first), np.array(self._last)
        count = len(labels)
        at = np.full(count, -np.inf)
        at[0] = logs[0, 0]
        at[first] = logs[0][labels[first]] - WORD_COSTS
        came = np.zeros((len(logs), count), dtype=np.int64)
        states = np.arange(count)
        for t, frame in enumerate(logs[1:], 1):
            best, where = at.copy(), states.copy()
            _better(best, where, self._inner, at[self._inner - 1], self._inner - 1)
            _better(best, where, self._skipping, at[self._skipping - 2], self._skipping - 2)
            ends = at[last]
            likeliest = int(ends.argmax())
            if ends[likeliest] > best[0]:
                best[0], where[0] = ends[likeliest], last[likeliest]
            joined = np.where(self._joins, ends[:, None], -np.inf)
            before = joined.argmax(axis=0)
            _better(best, where, first, joined[before, np.arange(len(first))] - WORD_COSTS, last[before])
            _better(best, where, first, np.full(len(first), at[0] - WORD_COSTS), np.zeros(len(first), dtype=np.int64))
            at, came[t] = best + frame[labels], where
        ends = np.append(last, 0)
        return self._words_on_the_way(int(ends[at[ends].argmax()]), came)

    def _words_on_the_way(self, state: int, came: np.ndarray) -> tuple[str, ...]:
        word_of = {state: k for k, state in enumerate(self._first)}
        found = []
        for t in range(len(came) - 1, -1, -1):
            before = int(came[t, state]) if t else -1
            if state in word_of and before != state:
                found.append(self._words[word_of[state]])
            state = before
        return tuple(reversed(found))


def _better(best: np.ndarray, where: np.ndarray, states: np.ndarray, found: np.ndarray, came: np.ndarray) -> None:
    """Into `states`, where what was `found` is likelier than the best so far."""
    gain = found > best[states]
    best[states[gain]], where[states[gain]] = found[gain], came[gain]

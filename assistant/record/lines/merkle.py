"""Merkle tree hash, running root and proofs of RFC 9162 (section 2.1; the same tree as RFC 6962)."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence

EMPTY_ROOT = hashlib.sha256(b"").digest()


def leaf_hash(data: bytes) -> bytes:
    """SHA-256(0x00 || data)."""
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """SHA-256(0x01 || left || right)."""
    return hashlib.sha256(b"\x01" + left + right).digest()


class RunningRoot:
    """The root over all leaves added so far, in memory that grows with log2 of their number."""

    def __init__(self, size: int = 0, peaks: Iterable[bytes] = ()) -> None:
        self.size = size
        self.peaks = list(peaks)  # roots of the perfect subtrees, largest first
        if len(self.peaks) != size.bit_count():
            raise ValueError("the peaks don't fit the size")

    def add(self, data: bytes) -> None:
        """Add one leaf."""
        self.add_hash(leaf_hash(data))

    def add_hash(self, leaf: bytes) -> None:
        """Add one leaf by its leaf hash."""
        size = self.size
        while size & 1:
            leaf = node_hash(self.peaks.pop(), leaf)
            size >>= 1
        self.peaks.append(leaf)
        self.size += 1

    def root(self) -> bytes:
        """The tree hash of the leaves so far (32 bytes)."""
        if not self.peaks:
            return EMPTY_ROOT
        root = self.peaks[-1]
        for peak in reversed(self.peaks[:-1]):
            root = node_hash(peak, root)
        return root


def root_of(leaves: Iterable[bytes]) -> bytes:
    """The tree hash of a list of leaves."""
    running = RunningRoot()
    for leaf in leaves:
        running.add(leaf)
    return running.root()


def inclusion_proof(hashes: Sequence[bytes], index: int) -> list[bytes]:
    """The audit path of leaf `index` among leaf hashes `hashes` (RFC 9162 section 2.1.3.1)."""
    if not 0 <= index < len(hashes):
        raise ValueError("no such leaf")
    if len(hashes) == 1:
        return []
    split = 1 << ((len(hashes) - 1).bit_length() - 1)
    if index < split:
        return [*inclusion_proof(hashes[:split], index), _root_of_hashes(hashes[split:])]
    return [*inclusion_proof(hashes[split:], index - split), _root_of_hashes(hashes[:split])]


def proof_holds(leaf: bytes, index: int, size: int, path: Sequence[bytes], root: bytes) -> bool:
    """Whether an audit path leads from a leaf hash to the root (RFC 9162 section 2.1.3.2)."""
    if not 0 <= index < size:
        return False
    fn, sn, running = index, size - 1, leaf
    for sibling in path:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            running = node_hash(sibling, running)
            while not fn & 1 and fn:
                fn >>= 1
                sn >>= 1
        else:
            running = node_hash(running, sibling)
        fn >>= 1
        sn >>= 1
    return sn == 0 and running == root


def _root_of_hashes(hashes: Sequence[bytes]) -> bytes:
    running = RunningRoot()
    for leaf in hashes:
        running.add_hash(leaf)
    return running.root()

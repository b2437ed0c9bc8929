"""The Merkle tree against RFC 9162's tree and its published test leaves."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.record.lines.merkle import RunningRoot, inclusion_proof, leaf_hash, proof_holds, root_of

# The leaves of the reference test data of RFC 6962 / RFC 9162 trees, and the roots (REFERENCES, recomputed).
LEAVES = [
    bytes.fromhex(text)
    for text in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
ROOTS = {
    0: "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    1: "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    3: "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    7: "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    8: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
}


@pytest.mark.parametrize(("size", "root"), ROOTS.items())
def test_rfc_9162_roots(size: int, root: str):
    assert root_of(LEAVES[:size]).hex() == root


def test_fips_180_4_abc():
    # FIPS 180-4, SHA-256 example of one block: what every line's hash rests on.
    assert (
        hashlib.sha256(b"abc").hexdigest()
        == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )


def by_definition(leaves: list[bytes]) -> bytes:
    """RFC 9162 section 2.1.1, word for word: split at the largest power of two below n."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return hashlib.sha256(b"\0" + leaves[0]).digest()
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    return hashlib.sha256(b"\1" + by_definition(leaves[:k]) + by_definition(leaves[k:])).digest()


@given(st.lists(st.binary(max_size=4), max_size=70))
def test_the_running_root_equals_the_definition(leaves: list[bytes]):
    assert root_of(leaves) == by_definition(leaves)


@given(st.lists(st.binary(max_size=4), min_size=1, max_size=70), st.data())
def test_an_inclusion_proof_holds_for_its_leaf_and_for_no_other(leaves: list[bytes], data: st.DataObject):
    index = data.draw(st.integers(0, len(leaves) - 1))
    hashes = [leaf_hash(leaf) for leaf in leaves]
    path, root = inclusion_proof(hashes, index), by_definition(leaves)
    assert proof_holds(hashes[index], index, len(leaves), path, root)
    assert not proof_holds(leaf_hash(b"another"), index, len(leaves), path, root)
    assert not proof_holds(hashes[index], index, len(leaves), [*path, b"x" * 32], root)
    if path:
        assert not proof_holds(hashes[index], index, len(leaves), path[:-1], root)


def test_a_running_root_goes_on_from_its_peaks():
    half = RunningRoot()
    for leaf in LEAVES[:5]:
        half.add(leaf)
    on = RunningRoot(half.size, half.peaks)
    for leaf in LEAVES[5:]:
        on.add(leaf)
    assert on.root().hex() == ROOTS[8]
    with pytest.raises(ValueError, match="peaks"):
        RunningRoot(3, [b"x" * 32])

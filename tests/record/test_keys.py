"""Keys: two components open them, and nothing else does."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from assistant.errors import RecordError, RefusedError, UsageError
from assistant.record.signing.keys import Cost, KeyStore, PublicKey, UnlockedKey, signature_holds
from tests.record.support import WALL

PASSPHRASE = "anchor velvet thirteen"

# RFC 8032 section 7.1, TEST 1 to 3: secret key, public key, message, signature (from memory of the RFC).
VECTORS = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24"
        "655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aee"
        "b00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28d"
        "c027beceea1ec40a",
    ),
]


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_rfc_8032_vectors(secret: str, public: str, message: str, signature: str):
    private = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    key = UnlockedKey(PublicKey("", "", "", public, WALL), private)
    assert private.public_key().public_bytes_raw().hex() == public
    assert key.sign(bytes.fromhex(message)) == signature
    assert signature_holds(public, bytes.fromhex(message), signature)
    assert not signature_holds(public, bytes.fromhex(message) + b"x", signature)


@pytest.mark.parametrize(
    ("public", "signature"), [("", ""), ("zz", "zz"), ("00" * 32, "00" * 64), ("é", "1")]
)
def test_malformed_keys_and_signatures_hold_nothing(public: str, signature: str):
    assert not signature_holds(public, b"message", signature)


@pytest.fixture
def store(tmp_path: Path) -> KeyStore:
    return KeyStore(tmp_path / "keys", cost=Cost(1, 64, 1))


def test_name_and_passphrase_open_a_key_that_the_registry_knows(store: KeyStore):
    entry = store.create_key("S. Supervisor", PASSPHRASE, since=WALL, role="supervisor")
    key = store.unlock("s. supervisor", PASSPHRASE)
    assert signature_holds(store.public_keys()[entry.key_id], b"message", key.sign(b"message"))
    assert entry.public_key not in repr(key)


def test_a_wrong_passphrase_and_an_unknown_name_get_the_same_words(store: KeyStore):
    store.create_key("S. Supervisor", PASSPHRASE, since=WALL)
    messages = []
    for name, passphrase in (("S. Supervisor", "wrong wrong"), ("Nobody", PASSPHRASE), ("S. Supervisor", "")):
        with pytest.raises(RefusedError) as refused:
            store.unlock(name, passphrase)
        messages.append(str(refused.value))
    assert len(set(messages)) == 1


def test_a_key_file_under_another_name_does_not_open(store: KeyStore):
    store.create_key("S. Supervisor", PASSPHRASE, since=WALL)
    store.create_key("T. Technician", "another long one", since=WALL)
    mine, theirs = sorted(store.folder.glob("*.key.json"))
    theirs.write_bytes(mine.read_bytes())
    with pytest.raises(RefusedError):
        store.unlock("T. Technician", PASSPHRASE)


def test_the_secret_is_nowhere_in_the_files(tmp_path: Path):
    store = KeyStore(tmp_path, cost=Cost(1, 64, 1), random=lambda n: b"\x5a" * n)
    store.create_key("S. Supervisor", PASSPHRASE, since=WALL)
    held = b"".join(path.read_bytes() for path in tmp_path.iterdir())
    assert b"5a" * 32 not in held and PASSPHRASE.encode() not in held


def test_one_key_in_force_per_name_and_a_withdrawn_one_never_signs_again(store: KeyStore):
    first = store.create_key("S. Supervisor", PASSPHRASE, since=WALL)
    with pytest.raises(RefusedError, match="has a key already"):
        store.create_key("s.  supervisor", PASSPHRASE, since=WALL)
    store.withdraw_key("S. Supervisor", WALL)
    with pytest.raises(RefusedError):
        store.unlock("S. Supervisor", PASSPHRASE)
    second = store.create_key("S. Supervisor", PASSPHRASE, since=WALL)
    assert store.unlock("S. Supervisor", PASSPHRASE).key_id == second.key_id
    assert first.key_id in store.public_keys()  # what it signed can still be checked


@pytest.mark.parametrize(
    ("name", "passphrase"),
    [("", PASSPHRASE), ("A\x1b[1m", PASSPHRASE), ("x" * 200, PASSPHRASE), ("A", "short")],
)
def test_a_bad_name_or_a_short_passphrase_is_refused(store: KeyStore, name: str, passphrase: str):
    with pytest.raises(UsageError):
        store.create_key(name, passphrase, since=WALL)


@pytest.mark.parametrize("held", [b"", b"{}", b"[]", b'{"keys":[{"name":1}]}', b'{"keys":[3]}'])
def test_a_damaged_registry_is_one_clear_message(store: KeyStore, held: bytes):
    store.folder.mkdir(parents=True)
    (store.folder / "public_keys.json").write_bytes(held)
    with pytest.raises(RecordError, match="registry"):
        store.registry()


def test_a_key_put_in_place_of_another_in_the_registry_is_noticed(store: KeyStore):
    store.create_key("S. Supervisor", PASSPHRASE, since=WALL)
    path = store.folder / "public_keys.json"
    registry = json.loads(path.read_bytes())
    registry["keys"][0]["public_key"] = VECTORS[0][1]
    path.write_text(json.dumps(registry))
    with pytest.raises(RecordError, match="doesn't fit"):
        store.registry()


def test_a_key_file_that_asks_for_absurd_work_is_refused(store: KeyStore):
    store.create_key("S. Supervisor", PASSPHRASE, since=WALL)
    path = next(store.folder.glob("*.key.json"))
    path.write_text(json.dumps({**json.loads(path.read_bytes()), "memory_kib": 1 << 40}))
    with pytest.raises(RecordError):
        store.unlock("S. Supervisor", PASSPHRASE)


def test_the_default_cost_is_the_second_recommendation_of_rfc_9106():
    # RFC 9106 section 4: t=3, p=4, m=2^16 (64 MiB).
    assert Cost() == Cost(passes=3, memory_kib=2**16, lanes=4)

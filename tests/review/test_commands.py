"""`assistant review` and `assistant accounts` on the command line, and where the server may listen."""

from __future__ import annotations

import json
import socket
import ssl
import stat
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import pytest
from click.testing import CliRunner
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import NameOID

from assistant.errors import FindingsError, RefusedError, UsageError
from assistant.review.people.accounts import Accounts
from assistant.review.people.accounts_cli import accounts
from assistant.review.register.index import Index, Row
from assistant.review.review_cli import review
from assistant.review.serving.server import is_loopback, require_safe_place


@pytest.mark.parametrize(
    ("host", "loopback"),
    [
        ("127.0.0.1", True),
        ("127.9.9.9", True),
        ("::1", True),
        ("localhost", True),
        ("0.0.0.0", False),
        ("::", False),
        ("192.0.2.1", False),
        ("localhost.example", False),
        ("", False),
    ],
)
def test_only_loopback_is_served_without_tls(host: str, loopback: bool) -> None:
    assert is_loopback(host) == loopback
    if not loopback:
        with pytest.raises(RefusedError):
            require_safe_place(host, None, None)


def test_half_a_certificate_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError):
        require_safe_place("127.0.0.1", tmp_path / "c.pem", None)
    with pytest.raises(UsageError):
        require_safe_place("127.0.0.1", tmp_path / "c.pem", tmp_path / "k.pem")


def run(*args: str, stdin: str = ""):
    return CliRunner().invoke(accounts, args, input=stdin, catch_exceptions=False)


def test_accounts_are_made_listed_and_closed_without_showing_a_secret(tmp_path: Path) -> None:
    home = str(tmp_path / "home")
    made = run(
        "add",
        "R. Vane",
        "--role",
        "supervisor",
        "--alias",
        "rv",
        "--home",
        home,
        "--passphrase-stdin",
        stdin="three plain words\n",
    )
    assert made.exit_code == 0
    held = tmp_path / "home" / "accounts.json"
    assert "three plain words" not in held.read_text() and "$argon2id$" in held.read_text()
    assert stat.S_IMODE(held.stat().st_mode) == 0o600
    told = json.loads(run("list", "--home", home, "--json").stdout)
    assert told["accounts"][0]["name"] == "R. Vane" and "hash" not in told["accounts"][0]
    assert run("close", "R. Vane", "--home", home).exit_code == 0
    store = Accounts(tmp_path / "home")
    assert store.sign_in("R. Vane", "three plain words") is None
    assert store.keys.registry()[0].withdrawn  # the key is out of force, what it signed can still be checked


@pytest.mark.parametrize(
    ("args", "error"),
    [
        (("add", "R. Vane", "--role", "supervisor"), RefusedError),
        (("add", "rv", "--role", "reader"), RefusedError),
        (("add", "X\x1b[2J", "--role", "reader"), UsageError),
        (("close", "Nobody"), RefusedError),
    ],
)
def test_an_account_that_cannot_be_is_refused(
    tmp_path: Path, args: tuple[str, ...], error: type[Exception]
) -> None:
    home = str(tmp_path / "home")
    run(
        "add",
        "R. Vane",
        "--role",
        "supervisor",
        "--alias",
        "rv",
        "--home",
        home,
        "--passphrase-stdin",
        stdin="three plain words\n",
    )
    more = ("--passphrase-stdin",) if args[0] == "add" else ()
    with pytest.raises(error):
        run(*args, "--home", home, *more, stdin="three plain words\n")


def test_a_key_made_for_approvals_is_used_if_the_passphrase_opens_it(tmp_path: Path) -> None:
    store = Accounts(tmp_path)
    entry = store.keys.create_key("R. Vane", "three plain words", since="2026-01-01T00:00:00Z")
    with pytest.raises(RefusedError):
        store.add("R. Vane", "supervisor", "other plain words", since="2026-01-01T00:00:00Z")
    store.add("R. Vane", "supervisor", "three plain words", since="2026-01-01T00:00:00Z")
    assert [k.key_id for k in store.keys.registry()] == [entry.key_id]


def test_a_short_passphrase_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError):
        run(
            "add",
            "R. Vane",
            "--role",
            "reader",
            "--home",
            str(tmp_path),
            "--passphrase-stdin",
            stdin="short\n",
        )
    assert not (tmp_path / "accounts.json").exists()


def test_rebuild_and_check_say_so_in_one_json_object(site: Path) -> None:
    args = ["--records", str(site / "records"), "--home", str(site / "home"), "--json"]
    done = CliRunner().invoke(review, [*args, "--rebuild"], catch_exceptions=False)
    assert json.loads(done.stdout) == {"records_read": 6, "problems": []}
    index = Index(site / "records", site / "home" / "register.sqlite")
    with index.db() as db:
        db.query(Row).first().deviations = 99
        db.commit()
    with pytest.raises(FindingsError):
        CliRunner().invoke(review, [*args, "--check"], catch_exceptions=False)


def certificate(folder: Path) -> tuple[Path, Path]:
    """A self-signed certificate for localhost, and its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "localhost")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("localhost")]), critical=False)
        .sign(key, hashes.SHA256())
    )
    paths = folder / "c.pem", folder / "k.pem"
    paths[0].write_bytes(made.public_bytes(Encoding.PEM))
    paths[1].write_bytes(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    return paths


def test_the_command_serves_over_tls_with_secure_cookies(site: Path, tmp_path: Path) -> None:
    public, private = certificate(tmp_path)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    code = "from assistant.review.review_cli import review; review()"
    arguments = ["--records", str(site / "records"), "--home", str(site / "home"), "--port", str(port)]
    arguments += ["--certificate", str(public), "--key", str(private)]
    process = subprocess.Popen(
        [sys.executable, "-c", code, *arguments],
        stderr=subprocess.PIPE,
        cwd=Path(__file__).resolve().parents[2],
    )
    try:
        trusted = ssl.create_default_context(cafile=str(public))
        with httpx.Client(verify=trusted, base_url=f"https://localhost:{port}") as client:
            deadline = time.monotonic() + 60
            while True:
                try:
                    answer = client.get("/sign-in")
                    break
                except httpx.ConnectError:
                    assert process.poll() is None and time.monotonic() < deadline, process.stderr.read()
        assert answer.status_code == 200 and "Secure" in answer.headers["set-cookie"]
        assert answer.headers["strict-transport-security"]
    finally:
        process.terminate()
        process.communicate(timeout=20)

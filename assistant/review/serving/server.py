"""Serving the pages: loopback, or TLS, or not at all."""

from __future__ import annotations

import ipaddress
import socket
import ssl
from pathlib import Path

import uvicorn

from assistant.errors import RefusedError, StorageError, UsageError
from assistant.review.serving.app import create_app
from assistant.review.serving.desk import Desk
from assistant.review.serving.patience import PatientProtocol


def is_loopback(host: str) -> bool:
    """Whether everything that `host` means is this machine."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host.casefold() == "localhost"


def require_safe_place(host: str, certificate: Path | None, key: Path | None) -> None:
    """Raises RefusedError for an address others can reach without TLS, UsageError for half a pair of
    files."""
    if (certificate is None) != (key is None):
        raise UsageError("TLS needs a certificate and its key.", expected="--certificate FILE --key FILE")
    for path in (certificate, key):
        if path is not None and not path.is_file():
            raise UsageError("There is no such file.", where=str(path))
    if certificate is None and not is_loopback(host):
        raise RefusedError(
            f"On {host} others could read passphrases on their way.",
            expected="a loopback address (127.0.0.1), or TLS",
            try_next="Add --certificate FILE --key FILE, or leave --host out.",
        )


def listen(host: str, port: int) -> socket.socket:
    """The port, taken: nothing is said of serving before. Raises StorageError where somebody else has it."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # The protocol named: only then does asyncio switch off waiting for acknowledgements on accepted
    # connections.
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host.strip("[]"), port))
        listener.listen(128)  # only now is it ours: two that are merely bound may share a port
    except OSError as error:
        listener.close()
        raise StorageError(
            f"Port {port} can't be used: {error.strerror}.",
            where=host,
            try_next="Choose another one with --port.",
        ) from error
    return listener


def serve(
    desk: Desk, listener: socket.socket, *, certificate: Path | None = None, key: Path | None = None
) -> None:
    """Serve at a port that `listen` took, until Ctrl-C. Raises UsageError for a certificate that can't be used."""
    config = uvicorn.Config(
        create_app(desk),
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        h11_max_incomplete_event_size=32_768,
        timeout_graceful_shutdown=2,
        ssl_certfile=str(certificate) if certificate else None,
        ssl_keyfile=str(key) if key else None,
        ws="none",
        http=PatientProtocol,
    )
    try:
        config.load()
    except (OSError, ssl.SSLError) as error:
        raise UsageError(
            f"The certificate or its key can't be used: {getattr(error, 'reason', '') or error}.",
            where=f"{certificate}, {key}", expected="a certificate and its own private key, both as PEM",
        ) from error
    uvicorn.Server(config).run(sockets=[listener])

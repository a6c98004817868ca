"""A key to sign with, a phone's own keys, and a push service that runs here."""

from __future__ import annotations

import base64
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
)


def base64url(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def unbase64url(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def point(key: ec.EllipticCurvePublicKey) -> bytes:
    return key.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


def _hkdf(salt: bytes, secret: bytes, info: bytes, length: int) -> bytes:
    return HKDF(hashes.SHA256(), length, salt, info).derive(secret)


@dataclass
class Browser:
    """What a browser makes for a subscription, and how it reads what comes (RFC 8291, 3.4)."""

    private: ec.EllipticCurvePrivateKey = field(
        default_factory=lambda: ec.generate_private_key(ec.SECP256R1())
    )
    auth: bytes = b"0123456789abcdef"

    def keys(self) -> dict[str, str]:
        return {"p256dh": base64url(point(self.private.public_key())), "auth": base64url(self.auth)}

    def read(self, body: bytes) -> bytes:
        """Decrypt one record of aes128gcm (RFC 8188, 2) by the steps of RFC 8291, 3.4."""
        salt, id_length = body[:16], body[20]
        sender = body[21 : 21 + id_length]
        sealed = body[21 + id_length :]
        other = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), sender)
        shared = self.private.exchange(ec.ECDH(), other)
        info = b"WebPush: info\0" + point(self.private.public_key()) + sender
        secret = _hkdf(self.auth, shared, info, 32)
        key = _hkdf(salt, secret, b"Content-Encoding: aes128gcm\0", 16)
        nonce = _hkdf(salt, secret, b"Content-Encoding: nonce\0", 12)
        padded = AESGCM(key).decrypt(nonce, sealed, None)
        text, delimiter, padding = padded.rpartition(b"\2")
        assert delimiter == b"\2"  # the last record
        assert padding.strip(b"\0") == b""
        return text


class PushService(HTTPServer):
    """A push service on this machine: keeps what it is sent, answers what it is told to."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Receiver)
        self.got: list[tuple[str, dict[str, str], bytes]] = []
        self.status = 201
        self.location = ""

    @property
    def host(self) -> str:
        return f"127.0.0.1:{self.server_address[1]}"

    @property
    def endpoint(self) -> str:
        return f"http://{self.host}/push/abc?x=1"


class _Receiver(BaseHTTPRequestHandler):
    def do_POST(self) -> None:
        service: Any = self.server
        body = self.rfile.read(int(self.headers["Content-Length"]))
        headers = {name.lower(): value for name, value in self.headers.items()}
        service.got.append((self.path, headers, body))
        self.send_response(service.status)
        if service.location:
            self.send_header("Location", service.location)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002  the name it is called by
        """Keep quiet."""


@pytest.fixture
def push_service() -> Iterator[PushService]:
    service = PushService()
    thread = threading.Thread(target=service.serve_forever, args=(0.01,))
    thread.start()
    yield service
    service.shutdown()
    thread.join()
    service.server_close()


@pytest.fixture
def browser() -> Browser:
    return Browser()


@pytest.fixture
def push_is_on(settings: Any, tmp_path: Path, push_service: PushService) -> PushService:
    """Turn nudges on, with the service of this machine allowed."""
    key = ec.generate_private_key(ec.SECP256R1())
    file = tmp_path / "push.pem"
    form = (Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    file.write_bytes(key.private_bytes(*form))
    settings.PUSH_KEY = file
    settings.PUSH_CONTACT = "farm@localhost"
    settings.PUSH_HOSTS = [push_service.host]
    return push_service

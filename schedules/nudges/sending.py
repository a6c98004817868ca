"""One nudge to one phone: encrypted (RFC 8291), signed (RFC 8292), posted (RFC 8030).

An endpoint is an address of a stranger's choosing, so only public ones are called, each by the
very number that was looked up and checked, and no redirect is followed.
"""

from __future__ import annotations

import ipaddress
import socket
import ssl
from dataclasses import dataclass
from functools import lru_cache
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from pathlib import Path
from urllib.parse import urlsplit

from cryptography.hazmat.primitives.serialization import (
    Encoding,
    PublicFormat,
    load_pem_private_key,
)
from django.conf import settings
from webpush import WebPush, WebPushSubscription
from webpush.types import WebPushKeys
from webpush.vapid import VAPID

NUDGE = b'{"see": true}'  # that there is something to see, and nothing of what
KEPT_S = 4 * 3600  # by the push service, for a phone without signal
TIMEOUT_S = 10.0
GONE = (404, 410)  # RFC 8030, 7.3


class EndpointError(Exception):
    """The endpoint is no address that may be called."""


class PushFailedError(Exception):
    """The push service could not be reached or wants it again later."""


@dataclass(frozen=True, slots=True)
class Endpoint:
    """An address in parts; `number` is the one that may be connected to."""

    is_tls: bool
    host: str
    port: int
    path: str
    number: str

    @property
    def origin(self) -> Origin:
        """Give what the signature is for (RFC 8292, 2): with the port unless it is the usual."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        is_usual = self.port == (443 if self.is_tls else 80)
        return Origin(
            "https" if self.is_tls else "http", host if is_usual else f"{host}:{self.port}"
        )


@dataclass(frozen=True, slots=True)
class Origin:
    """Scheme and host of an address, in the shape that the library reads."""

    scheme: str
    host: str


def is_on() -> bool:
    """Whether this installation sends nudges: it has a key to sign them with."""
    return settings.PUSH_KEY is not None


def public_key() -> str:
    """Give the key by which browsers know this server (RFC 8292, 3.2); nothing when off."""
    if not is_on():
        return ""
    private = load_pem_private_key(_private_pem(settings.PUSH_KEY), password=None)
    return str(VAPID.get_application_server_key(private.public_key()))


@lru_cache(maxsize=1)
def _private_pem(file: Path) -> bytes:
    return file.read_bytes()


def checked(endpoint: str) -> Endpoint:
    """Look an endpoint up; refuse what is not https or leads to a private address.

    What `PUSH_HOSTS` lists as host:port may be private, and plain.
    """
    try:
        parts = urlsplit(endpoint)
        is_tls, host = parts.scheme == "https", parts.hostname or ""
        port = parts.port or (443 if is_tls else 80)
    except ValueError as error:
        raise EndpointError(f"no address: {error}") from error
    if not host or parts.username is not None or not endpoint.isascii():
        raise EndpointError("no address")
    is_listed = f"{host}:{port}" in settings.PUSH_HOSTS
    if not is_tls and not (is_listed and parts.scheme == "http"):
        raise EndpointError("not https")
    query = f"?{parts.query}" if parts.query else ""
    return Endpoint(is_tls, host, port, (parts.path or "/") + query, _number(host, port, is_listed))


def _number(host: str, port: int, is_listed: bool) -> str:
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise PushFailedError(f"{host} is not known: {error}") from error
    numbers = [str(entry[4][0]) for entry in found]
    if not is_listed and not all(_is_public(number) for number in numbers):
        raise EndpointError("leads to a private address")
    return numbers[0]


def _is_public(number: str) -> bool:
    address = ipaddress.ip_address(number.partition("%")[0])
    mapped = getattr(address, "ipv4_mapped", None)
    return (mapped or address).is_global and not address.is_multicast


def send(endpoint: str, p256dh: str, auth: str) -> int:
    """Send one nudge; give the push service's status. A later one takes its place (Topic)."""
    where = checked(endpoint)
    pusher = _pusher()
    message = pusher.get(
        NUDGE, WebPushSubscription(endpoint=endpoint, keys=WebPushKeys(auth=auth, p256dh=p256dh))
    )
    headers = {
        "TTL": message.headers["ttl"],
        "Content-Encoding": message.headers["content-encoding"],
        "Authorization": pusher.vapid.get_authorization_header(  # its own leaves the port out
            where.origin, settings.PUSH_CONTACT, pusher.expiration
        ),
        "Content-Type": "application/octet-stream",
        "Topic": "see",
        "Urgency": "normal",
    }
    connection = _connection(where)
    try:
        connection.request("POST", where.path, message.encrypted, headers)
        return int(connection.getresponse().status)
    except (OSError, HTTPException) as error:
        raise PushFailedError(f"{where.host}: {error}") from error
    finally:
        connection.close()


def _pusher() -> WebPush:
    pem = _private_pem(settings.PUSH_KEY)
    public = load_pem_private_key(pem, password=None).public_key()
    known = public.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    return WebPush(pem, known, subscriber=settings.PUSH_CONTACT, ttl=KEPT_S)


def _connection(where: Endpoint) -> HTTPConnection:
    """Connect to the number that was checked, under the name that was asked for."""
    if where.is_tls:
        connection: HTTPConnection = HTTPSConnection(
            where.host, where.port, timeout=TIMEOUT_S, context=ssl.create_default_context()
        )
    else:
        connection = HTTPConnection(where.host, where.port, timeout=TIMEOUT_S)

    def connect(_address: object, timeout: float, *_more: object) -> socket.socket:
        return socket.create_connection((where.number, where.port), timeout)

    connection._create_connection = connect  # type: ignore[attr-defined]  # its own seam for this
    return connection

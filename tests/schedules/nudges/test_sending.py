"""A nudge as the standards have it, and only to where it may go."""

from __future__ import annotations

import os
import socket
import time
from typing import Any

import jwt
import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from webpush import WebPush, WebPushSubscription
from webpush.types import WebPushKeys

from schedules.nudges import sending
from schedules.nudges.sending import (
    EndpointError,
    PushFailedError,
    checked,
    is_on,
    public_key,
    send,
)

from .conftest import Browser, PushService, base64url, unbase64url

# RFC 8291, appendix A -----------------------------------------------------------------------------
TEXT = "When I grow up, I want to be a watermelon"
SALT = "DGv6ra1nlYgDCS1FRnbzlw"
SENDER = "yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw"
RECEIVER = "q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94"
RECEIVER_PUBLIC = (
    "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"
)
AUTH = "BTBZMqHH6r4Tts7J_aSIgg"
BODY = (
    "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS"
    "6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qu"
    "lcy4a-fN"
)


def key_of(text: str) -> ec.EllipticCurvePrivateKey:
    return ec.derive_private_key(int.from_bytes(unbase64url(text), "big"), ec.SECP256R1())


def test_receiver_of_these_tests_reads_the_example_of_the_standard() -> None:
    browser = Browser(key_of(RECEIVER), unbase64url(AUTH))

    assert browser.keys() == {"p256dh": RECEIVER_PUBLIC, "auth": AUTH}
    assert browser.read(unbase64url(BODY)) == TEXT.encode()


def test_encryption_gives_the_example_of_the_standard(
    push_is_on: PushService, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same body to the last octet, its salt and its key given."""
    pusher: WebPush = sending._pusher()
    monkeypatch.setattr(os, "urandom", lambda _n: unbase64url(SALT))
    monkeypatch.setattr(ec, "generate_private_key", lambda *_how: key_of(SENDER))
    keys = WebPushKeys(auth=AUTH, p256dh=RECEIVER_PUBLIC)

    message = pusher.get(TEXT, WebPushSubscription(endpoint="https://push.example/x", keys=keys))

    assert base64url(message.encrypted) == BODY


# What goes out ------------------------------------------------------------------------------------


def test_nudge_is_posted_sealed_and_signed(push_is_on: PushService, browser: Browser) -> None:
    status = send(push_is_on.endpoint, **browser.keys())

    assert status == 201
    [(path, headers, body)] = push_is_on.got
    assert path == "/push/abc?x=1"
    assert headers["content-encoding"] == "aes128gcm"  # RFC 8291, 4
    assert 0 < int(headers["ttl"]) <= 86_400  # RFC 8030, 5.2
    assert headers["topic"] == "see"  # RFC 8030, 5.4
    assert browser.read(body) == b'{"see": true}'


def test_signature_is_as_rfc_8292_has_it(push_is_on: PushService, browser: Browser) -> None:
    send(push_is_on.endpoint, **browser.keys())

    [(_path, headers, _body)] = push_is_on.got
    scheme, _space, said = headers["authorization"].partition(" ")
    parts = dict(part.strip().split("=", 1) for part in said.split(","))
    assert (scheme, parts["k"]) == ("vapid", public_key())  # section 3
    point = unbase64url(parts["k"])
    assert (len(point), point[0]) == (65, 4)  # section 3.2: uncompressed
    key = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), point)
    claims = jwt.decode(
        parts["t"], key, algorithms=["ES256"], audience=f"http://{push_is_on.host}"
    )  # section 2
    assert claims["exp"] <= time.time() + 86_400
    assert claims["sub"] == "mailto:farm@localhost"


def test_without_a_key_there_are_no_nudges(settings: Any) -> None:
    settings.PUSH_KEY = None

    assert (is_on(), public_key()) == (False, "")


# Where it may go ----------------------------------------------------------------------------------


def resolve_to(monkeypatch: pytest.MonkeyPatch, *numbers: str) -> None:
    def found(_host: str, port: int, **_how: Any) -> list[Any]:
        return [(0, 0, 0, "", (number, port)) for number in numbers]

    monkeypatch.setattr(socket, "getaddrinfo", found)


# Of the registries of special addresses (RFC 6890), each by one that a farm may have.
PRIVATE = [
    "127.0.0.1", "10.0.0.7", "172.16.4.4", "192.168.1.1", "169.254.169.254", "100.64.0.1",
    "0.0.0.0", "224.0.0.1", "255.255.255.255", "::1", "fe80::1%eth0", "fd00::1", "ff02::1",
    "::ffff:10.0.0.1", "::",
]  # fmt: skip


@pytest.mark.parametrize("number", PRIVATE)
def test_private_address_is_never_called(
    push_is_on: PushService, monkeypatch: pytest.MonkeyPatch, number: str
) -> None:
    resolve_to(monkeypatch, number)
    with pytest.raises(EndpointError):
        checked("https://push.example/x")

    resolve_to(monkeypatch, "93.184.216.34", number)
    with pytest.raises(EndpointError):
        checked("https://push.example/x")


@pytest.mark.parametrize(
    "endpoint",
    [
        "http://push.example/x", "ftp://push.example/x", "https:///x", "https://user:x@push.example/",
        "https://push.example:99999/x", "file:///etc/passwd", "", "push.example/x",
        "https://push.exämple/x", "https://[::1/x",
    ],
)  # fmt: skip
def test_what_is_no_https_address_is_refused(
    push_is_on: PushService, monkeypatch: pytest.MonkeyPatch, endpoint: str
) -> None:
    resolve_to(monkeypatch, "93.184.216.34")

    with pytest.raises(EndpointError):
        checked(endpoint)


def test_public_address_is_called_by_the_number_that_was_checked(
    push_is_on: PushService, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A name that leads elsewhere at the second look (rebinding) changes nothing."""
    resolve_to(monkeypatch, "93.184.216.34")
    called = []

    def refuse(address: tuple[str, int], _timeout: float) -> socket.socket:
        called.append(address)
        raise ConnectionRefusedError

    monkeypatch.setattr(socket, "create_connection", refuse)

    with pytest.raises(PushFailedError):
        send("https://push.example/x", **browser.keys())
    assert called == [("93.184.216.34", 443)]


def test_listed_host_counts_with_its_port_alone(push_is_on: PushService) -> None:
    assert checked(push_is_on.endpoint).number == "127.0.0.1"

    with pytest.raises(EndpointError):
        checked("http://127.0.0.1:1/x")


def test_redirect_is_not_followed(push_is_on: PushService, browser: Browser) -> None:
    push_is_on.status, push_is_on.location = 307, push_is_on.endpoint

    assert send(push_is_on.endpoint, **browser.keys()) == 307
    assert len(push_is_on.got) == 1


def test_unknown_host_may_be_tried_again(
    push_is_on: PushService, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_args: Any, **_how: Any) -> None:
        raise socket.gaierror

    monkeypatch.setattr(socket, "getaddrinfo", fail)

    with pytest.raises(PushFailedError):
        checked("https://push.example/x")

"""The door of the WSGI server."""

import gc
import socket
from typing import Any

import pytest
from django.core.wsgi import get_wsgi_application
from django.test import RequestFactory

from config.wsgi import STALLS_S, application, end_stalled, read_as_utf_8

pytestmark = pytest.mark.django_db  # a request begins by looking at its connection


def test_what_is_loaded_once_is_out_of_the_collectors_sight() -> None:
    assert gc.get_freeze_count() > 10_000


def status_of(app: object, content_type: str) -> str:
    """Ask by the WSGI protocol itself (PEP 3333), as a server does."""
    said: list[str] = []
    environ = RequestFactory().generic("GET", "/api/v1/pair/?a=%41").environ
    environ["CONTENT_TYPE"] = content_type
    b"".join(app(environ, lambda status, _headers: said.append(status)))  # type: ignore[operator]
    return said[0]


@pytest.mark.parametrize("charset", ["zlib", "hex", "utf-16", "nonsense", '"zlib"'])
def test_charset_that_is_none_breaks_nothing(charset: str) -> None:
    content_type = f"application/json; charset={charset}"

    assert status_of(application, content_type).startswith("405")


def test_the_framework_alone_breaks_on_one() -> None:
    with pytest.raises(LookupError):
        status_of(get_wsgi_application(), "text/plain; charset=zlib")


def test_other_parameters_of_the_type_stay() -> None:
    seen: list[str] = []

    def look(environ: dict[str, Any], _start: object) -> list[bytes]:
        seen.append(environ["CONTENT_TYPE"])
        return []

    read_as_utf_8(look)({"CONTENT_TYPE": "multipart/form-data; Charset=hex; boundary=x"}, None)
    read_as_utf_8(look)({}, None)

    assert seen == ["multipart/form-data; boundary=x", ""]


def test_connection_that_stands_still_is_given_up() -> None:
    def receive(environ: dict[str, Any], _start: object) -> list[bytes]:
        return [environ["gunicorn.socket"].recv(1)]

    ours, theirs = socket.socketpair()
    with ours, theirs:
        theirs.send(b"{")
        assert end_stalled(receive)({"gunicorn.socket": ours}, None) == [b"{"]
        assert ours.gettimeout() == STALLS_S

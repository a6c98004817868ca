"""The door for a WSGI server: `gunicorn config.wsgi`."""

import os
import re
from collections.abc import Callable, Iterable
from typing import Any

from django.core.wsgi import get_wsgi_application

from config.heap import settle_heap

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

Application = Callable[[dict[str, Any], Any], Iterable[bytes]]
CHARSET = re.compile(r";\s*charset\s*=[^;]*", re.IGNORECASE)


STALLS_S = 30  # a caller that neither sends nor takes anything for so long is gone


def end_stalled(application: Application) -> Application:
    """Give up on a connection that stands still in the midst of a body or an answer.

    A phone that drove out of reach never says so, and would hold its thread for ever.
    """

    def call(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        if (connection := environ.get("gunicorn.socket")) is not None:
            connection.settimeout(STALLS_S)
        return application(environ, start_response)

    return call


def read_as_utf_8(application: Application) -> Application:
    """Drop the charset that a caller names: all we read is UTF-8.

    Django would decode the address by it before any of our code runs, and breaks on a codec that
    Python knows but that is none for text, such as zlib.
    """

    def call(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        environ["CONTENT_TYPE"] = CHARSET.sub("", environ.get("CONTENT_TYPE", ""))
        return application(environ, start_response)

    return call


application = end_stalled(read_as_utf_8(get_wsgi_application()))
settle_heap()

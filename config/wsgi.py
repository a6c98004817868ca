"""The door for a WSGI server: `gunicorn config.wsgi`."""

import os
import re
from collections.abc import Callable, Iterable
from typing import Any

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

Application = Callable[[dict[str, Any], Any], Iterable[bytes]]
CHARSET = re.compile(r";\s*charset\s*=[^;]*", re.IGNORECASE)


def read_as_utf_8(application: Application) -> Application:
    """Drop the charset that a caller names: all we read is UTF-8.

    Django would decode the address by it before any of our code runs, and breaks on a codec that
    Python knows but that is none for text, such as zlib.
    """

    def call(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        environ["CONTENT_TYPE"] = CHARSET.sub("", environ.get("CONTENT_TYPE", ""))
        return application(environ, start_response)

    return call


application = read_as_utf_8(get_wsgi_application())

"""The phone page: one shell; everything in it is drawn by its own small program."""

import hashlib
import json
from functools import cache
from pathlib import PurePath

from django.http import Http404, HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.urls import path
from django.views.decorators.cache import cache_control, never_cache
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import etag

from . import program

ADDRESS = "/phone/files/"


def shell(request: HttpRequest) -> HttpResponse:
    return HttpResponse(_shell())


def _shell() -> str:
    return render_to_string("phone/shell.html", {"files": ADDRESS})


def _digest(request: HttpRequest, name: str) -> str | None:
    found = program.digests().get(name)
    return found and f'"{found}"'


@gzip_page
@cache_control(no_cache=True)
@etag(_digest)
def program_file(request: HttpRequest, name: str) -> HttpResponse:
    """Give one file of the program; asked again, only where it has changed."""
    found = program.served().get(name)
    if found is None:
        raise Http404
    return HttpResponse(found, content_type=program.TYPES[PurePath(name).suffix])


@never_cache
def service_worker(request: HttpRequest) -> HttpResponse:
    return HttpResponse(_service_worker(), content_type="text/javascript")


@cache
def _service_worker() -> str:
    """Give the worker with the addresses to keep, what each must hold, and their version."""
    worker = program.worker()
    digests = {"/phone/": hashlib.sha256(_shell().encode()).hexdigest()}
    digests |= {f"{ADDRESS}{name}": found for name, found in program.digests().items()}
    version = hashlib.sha256(f"{json.dumps(digests)}{worker}".encode()).hexdigest()[:16]
    return f"const VERSION = {json.dumps(version)};\nconst FILES = {json.dumps(digests)};\n{worker}"


urlpatterns = [
    path("phone/", shell, name="phone"),
    path("phone/files/<str:name>", program_file, name="phone-file"),
    path("phone/sw.js", service_worker, name="phone-service-worker"),
]

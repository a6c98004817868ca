"""What a caller would rather have: less of an answer, or not to wait for it (RFC 7240)."""

from __future__ import annotations

from django.utils.cache import patch_vary_headers
from rest_framework.request import Request
from rest_framework.response import Response

MINIMAL = "return=minimal"
LATER = "respond-async"


def preferences_of(request: Request) -> set[str]:
    """Give what `Prefer` asks for, names in lower case, parameters left out (section 2)."""
    asked = request.headers.get("Prefer", "").split(",")
    return {one.partition(";")[0].strip().replace('"', "").lower() for one in asked}


def apply_preferences(request: Request, response: Response) -> None:
    """Leave the body of a done call away where it was asked for, and nothing is lost by it.

    What was made needs its own address (`Location`), else the body is all that names it.
    """
    patch_vary_headers(response, ["Prefer"])
    asked = preferences_of(request)
    if LATER in asked and response.status_code == 202:
        response["Preference-Applied"] = LATER
    if MINIMAL not in asked or response.status_code not in (200, 201):
        return
    if response.status_code == 201 and "Location" not in response:
        return
    response.status_code = 204 if response.status_code == 200 else 201
    response.data = None
    response["Preference-Applied"] = MINIMAL

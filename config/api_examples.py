"""Examples in the API's description: what calls say and how refusals read, in both languages."""

from typing import Any

from django.utils.translation import gettext, override
from rest_framework import exceptions, serializers

from config.api_errors import MEDIA_TYPE, problem
from equipment.site.errors import FieldFault

NAMES = {"en": "English", "es": "Español"}
WHEN = "2026-03-04T05:10:00-07:00"

# Operation: what it is sent, by language; numbers are keys of rows.
CALLS: dict[str, dict[str, dict[str, Any]]] = {
    "pair_phone": {"en": {"code": "K7PX2M4D"}, "es": {"code": "K7PX2M4D"}},
    "sites_problems_create": {
        "en": {"text": "The gate of lane 2 is bent", "place": 12, "at": WHEN},
        "es": {"text": "El portón del canal 2 está doblado", "place": 12, "at": WHEN},
    },
    "sites_locks_create": {
        "en": {"place": 12, "what": "Flush valve, key in my pocket"},
        "es": {"place": 12, "what": "Válvula de lavado, la llave la traigo yo"},
    },
    "sites_machines_readings_create": {
        "en": {"meter_h": 998.5, "reason": "Read twice, the old one was a slip"},
        "es": {"meter_h": 998.5, "reason": "Leído dos veces, el anterior fue un error"},
    },
    "sites_machines_hold_create": {
        "en": {"reason": "Brakes pull to the left"},
        "es": {"reason": "Los frenos jalan a la izquierda"},
    },
    "sites_batches_moisture_tests_create": {
        "en": {"moisture_frac": 0.06, "basis": "wb", "n_spots": 5, "depth_m": 0.1},
        "es": {"moisture_frac": 0.06, "basis": "wb", "n_spots": 5, "depth_m": 0.1},
    },
    "sites_work_orders_could_not_create": {
        "en": {"reason": "Ice on the alley", "at": WHEN},
        "es": {"reason": "Hielo en el pasillo", "at": WHEN},
    },
    "sites_work_orders_assignment_update": {
        "en": {"workers": [3], "machine": 2, "starts_at": WHEN},
        "es": {"workers": [3], "machine": 2, "starts_at": WHEN},
    },
    "tell_events": {
        language: {
            "events": [
                {
                    "id": "0198c0de-0000-7000-8000-000000000001",
                    "kind": "problem",
                    "payload": {"place": 12, "text": text},
                    "client_at": WHEN,
                    "seq": 41,
                }
            ]
        }
        for language, text in (("en", "Gate bent"), ("es", "Portón doblado"))
    },
}


def add_examples(
    result: dict[str, Any], generator: Any, request: Any, public: bool
) -> dict[str, Any]:
    """Add them to requests and refusals (hook of drf-spectacular, after the refusals are in)."""
    for path in result["paths"].values():
        for operation in path.values():
            said = CALLS.get(operation.get("operationId", ""))
            if said:
                operation["requestBody"]["content"]["application/json"]["examples"] = _both(said)
    for name, refusal in result["components"]["responses"].items():
        status = int(name.removeprefix("Refused"))
        told = {language: _told(status, language) for language in NAMES}
        refusal["content"][MEDIA_TYPE]["examples"] = _both(told)
    return result


def _both(values: dict[str, Any]) -> dict[str, Any]:
    return {
        language: {"summary": NAMES[language], "value": value} for language, value in values.items()
    }


def _told(status: int, language: str) -> dict[str, Any]:
    with override(language):
        code, detail, faults = _refusals()[status]
        return problem(status, code, str(detail), faults)


def _refusals() -> dict[int, tuple[str, Any, list[FieldFault]]]:
    """One refusal of each status in the language of now, with the words that the code has."""
    least = serializers.IntegerField.default_error_messages["min_value"]
    fault = FieldFault("/dry_kg", "min_value", str(least).format(min_value=1))
    stale = gettext("%(who)s changed it since you read it: it is at %(etag)s now. Read it again.")
    return {
        400: ("invalid", gettext("What was sent cannot be used: see errors."), [fault]),
        401: ("not_authenticated", exceptions.NotAuthenticated.default_detail, []),
        403: ("forbidden", gettext("Your role on this site does not allow this."), []),
        404: ("not_found", gettext("There is no such site, or you do not belong to it."), []),
        405: ("method_not_allowed", exceptions.MethodNotAllowed("PUT").detail, []),
        406: ("not_acceptable", exceptions.NotAcceptable.default_detail, []),
        409: ("still_running", gettext("The same call is still at work. Send it again."), []),
        412: ("stale", stale % {"who": "Ana", "etag": '"12-4"'}, []),
        413: ("too_large", gettext("A body may have up to 1 MiB."), []),
        415: ("unsupported_media_type", exceptions.UnsupportedMediaType("text/plain").detail, []),
        422: (
            "idempotency_key_reused",
            gettext("This Idempotency-Key was used for another call."),
            [],
        ),
        428: ("if_match_missing", gettext("Send If-Match with the ETag you read."), []),
        429: (
            "too_many_tries",
            gettext("Too many wrong codes. Wait 10 minutes, then ask for a new one."),
            [],
        ),
    }

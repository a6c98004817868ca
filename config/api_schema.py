"""What every operation of the API may answer besides its own: the problems of `api_errors`."""

from typing import Any

PROBLEM = {
    "type": "object",
    "description": "A refusal, as RFC 9457 describes it.",
    "required": ["type", "title", "status", "detail", "code", "errors"],
    "properties": {
        "type": {"type": "string", "format": "uri"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "code": {"type": "string"},
        "errors": {"type": "array", "items": {"$ref": "#/components/schemas/Fault"}},
    },
}
FAULT = {
    "type": "object",
    "description": "One fault in what was sent; `pointer` as in RFC 6901.",
    "required": ["pointer", "code", "detail"],
    "properties": {name: {"type": "string"} for name in ("pointer", "code", "detail")},
}
REFUSALS = {
    "400": "What was sent cannot be read",
    "401": "Not signed in, or the device is not paired",
    "403": "Not allowed to the caller's role",
    "404": "Nothing of that id on a site of the caller",
    "405": "The address does not take that method",
    "406": "No answer in the form asked for",
    "409": "Still at work on the same request",
    "412": "It changed since the caller read it",
    "415": "The body is not JSON",
    "422": "Refused by a rule of the house",
    "428": "If-Match is missing",
    "429": "Too many requests",
}
METHODS = {"get", "put", "post", "delete", "patch", "head", "options"}


def add_errors(
    result: dict[str, Any], generator: Any, request: Any, public: bool
) -> dict[str, Any]:
    """Add the refusals that an operation does not describe itself (hook of drf-spectacular)."""
    schemas = result.setdefault("components", {}).setdefault("schemas", {})
    schemas.update({"Problem": PROBLEM, "Fault": FAULT})
    body = {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
    for path in result["paths"].values():
        for method in METHODS & set(path):
            for status, words in REFUSALS.items():
                path[method]["responses"].setdefault(
                    status, {"description": words, "content": body}
                )
    return result

"""The API's description: what each operation asks and answers beyond its own serializers."""

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter

from equipment.site.preconditions import KEY_LENGTH
from equipment.site.rest import SiteViewSet
from equipment.site.restfields import SinceQuery
from equipment.site.tables import CsvRenderer, MetadataRenderer

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
    "413": "More than a call needs",
    "415": "The body is not JSON",
    "422": "Refused by a rule of the house",
    "428": "If-Match is missing",
    "429": "Too many requests",
}
READ_REFUSALS = ("400", "401", "403", "404", "405", "406", "429")
ONCE = OpenApiParameter(
    "Idempotency-Key",
    {"type": "string", "minLength": 1, "maxLength": KEY_LENGTH, "pattern": "^[!-~]([ -~]*[!-~])?$"},
    OpenApiParameter.HEADER,
    required=True,
    description="Of the caller's making, new for each call; a repeat gets the first answer.",
)
IF_MATCH = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    required=True,
    description="The ETag that the caller read (RFC 9110, 13.1.1).",
)
IF_NONE_MATCH = OpenApiParameter(
    "If-None-Match",
    str,
    OpenApiParameter.HEADER,
    description="An ETag; the answer is 304 when it still stands (RFC 9110, 13.1.2).",
)
PREFER = OpenApiParameter(
    "Prefer",
    str,
    OpenApiParameter.HEADER,
    description="`return=minimal` leaves the body away (204, or 201 with Location);"
    " `respond-async` is told back where the work is done later (RFC 7240).",
)
METHODS = {"get", "put", "post", "delete", "patch", "head", "options"}


def add_errors(
    result: dict[str, Any], generator: Any, request: Any, public: bool
) -> dict[str, Any]:
    """Add the refusals that an operation does not describe itself (hook of drf-spectacular)."""
    components = result.setdefault("components", {})
    components.setdefault("schemas", {}).update({"Problem": PROBLEM, "Fault": FAULT})
    components["responses"] = {f"Refused{status}": _refusal(status) for status in REFUSALS}
    for path in result["paths"].values():
        for method in METHODS & set(path):
            responses = path[method]["responses"]
            _describe_tables(responses.get("200", {}).get("content", {}))
            if any(p["name"] == IF_NONE_MATCH.name for p in path[method].get("parameters", [])):
                responses.setdefault("304", {"description": "It still stands"})
            for status in READ_REFUSALS if method == "get" else REFUSALS:
                reference = {"$ref": f"#/components/responses/Refused{status}"}
                responses.setdefault(status, reference)
    return result


def _describe_tables(content: dict[str, Any]) -> None:
    """A list's table is text; what its columns are, its own description says."""
    if CsvRenderer.media_type in content:
        content[CsvRenderer.media_type] = {"schema": {"type": "string"}}
        content[MetadataRenderer.media_type] = {"schema": {"type": "object"}}


def _refusal(status: str) -> dict[str, Any]:
    schema = {"$ref": "#/components/schemas/Problem"}
    content = {"application/problem+json": {"schema": schema}}
    return {"description": REFUSALS[status], "content": content}


class RoomSchema(AutoSchema):
    """Says of a room's viewset what its base class does: keys, versions, query parameters."""

    def get_override_parameters(self) -> list[Any]:
        action = getattr(self.view, "action", "")
        if self.method == "GET":
            query = getattr(self.view, "query", None)
            narrow = [SinceQuery, *([query] if query else [])]
            return [IF_NONE_MATCH, *(narrow if action == "list" else [])]
        if not isinstance(self.view, SiteViewSet):
            return []
        if self.method == "POST":
            return [ONCE, PREFER]
        return [IF_MATCH, PREFER] if action in self.view.guarded else []

    def get_tags(self) -> list[str]:
        """Group by what is below the site: pens, machines."""
        parts = [part for part in self.path.removeprefix("/api/v1/").split("/") if part]
        return parts[2:3] if len(parts) > 2 else parts[:1]


class PhoneTokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How a paired phone signs in (found by the package as it looks for its subclasses)."""

    target_class = "crews.devices.auth.PhoneAuthentication"
    name = "phoneToken"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer"}

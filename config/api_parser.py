"""Bodies of the API: JSON as RFC 8259 has it, and nothing in it that cannot be kept."""

import json
import math
import re
from collections.abc import Iterator, Mapping
from typing import IO, Any

from django.utils.translation import gettext as _
from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import JSONParser

from equipment.site.errors import FieldFault, InvalidInputError

MAX_BODY_BYTES = 1_048_576  # fifty events of a phone are a twentieth of it
BIGGEST = 2**63  # PostgreSQL's bigint ends here
MOST_LEVELS = 32  # of lists and objects within each other; what is deeper breaks who reads it later
ESCAPED = re.compile(r"\\u(?:0000|[dD][89a-fA-F])")  # NUL, half of a pair: written so alone
MOST_DIGITS = 18  # of a number that is within 64 bits for certain


class BodyTooLargeError(APIException):
    """More than any call of ours needs."""

    status_code = 413
    default_code = "too_large"


class StrictJSONParser(JSONParser):
    """Reads UTF-8 only; refuses by their place what the database cannot keep."""

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        raw = stream.read(MAX_BODY_BYTES + 1)
        if len(raw) > MAX_BODY_BYTES:
            raise BodyTooLargeError(_("A body may have up to 1 MiB."))
        try:
            data, is_doubtful = read_json(raw.decode())
        except (ValueError, RecursionError) as error:
            raise ParseError(_("The body is no JSON: %s") % error) from error
        faults = [*too_deep(data), *(unkeepable(data) if is_doubtful else ())]
        if faults:
            raise InvalidInputError(f"{faults[0].pointer}: {faults[0].detail}", faults)
        return data


def read_json(text: str) -> tuple[Any, bool]:
    """Give what a text says, and whether something in it may be `unkeepable`: else none is."""
    doubtful = [True] if ESCAPED.search(text) else []

    def whole(digits: str) -> int:
        if len(digits) > MOST_DIGITS:
            doubtful.append(True)
        return int(digits)

    def real(digits: str) -> float:
        value = float(digits)
        if not math.isfinite(value):
            doubtful.append(True)
        return value

    data = json.loads(text, parse_int=whole, parse_float=real, parse_constant=_refuse_constant)
    return data, bool(doubtful)


def too_deep(data: Any) -> Iterator[FieldFault]:
    """Tell where lists and objects stand within each other beyond `MOST_LEVELS`."""
    level = [data] if isinstance(data, dict | list) else []
    for _level in range(MOST_LEVELS):
        nested = (c.values() if isinstance(c, dict) else c for c in level)
        level = [c for below in nested for c in below if isinstance(c, dict | list)]
        if not level:
            return
    words = _("is nested deeper than %d levels") % MOST_LEVELS
    yield FieldFault("", "too_deep", words)


def _refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is no JSON number")


def unkeepable(data: Any) -> Iterator[FieldFault]:
    """List what PostgreSQL cannot keep: NUL, half surrogates, numbers beyond 64 bits."""
    waiting: list[tuple[str, Any]] = [("", data)]
    while waiting:
        pointer, value = waiting.pop()
        match value:
            case dict():
                for key, below in value.items():
                    waiting += [(pointer, key), (f"{pointer}/{_printable(key)}", below)]
            case list():
                waiting += [(f"{pointer}/{index}", below) for index, below in enumerate(value)]
            case str() if not _is_text(value):
                words = _("holds a sign that cannot be kept (NUL, or half of a pair)")
                yield FieldFault(pointer, "unkeepable_text", words)
            case int() | float() if not _is_countable(value):
                yield FieldFault(pointer, "unkeepable_number", _("is beyond 64 bits"))


def _is_text(value: str) -> bool:
    return "\0" not in value and not any("\ud800" <= sign <= "\udfff" for sign in value)


def _is_countable(value: float) -> bool:
    return math.isfinite(value) if isinstance(value, float) else -BIGGEST <= value < BIGGEST


def _printable(key: str) -> str:
    """Escape a key for its pointer (RFC 6901), without signs that no answer can carry."""
    clean = key.encode(errors="replace").decode().replace("\0", "?")
    return clean.replace("~", "~0").replace("/", "~1")

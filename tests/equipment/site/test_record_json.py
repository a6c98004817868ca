"""Records as JSON: exact round trips, refusals with their path, a schema that says the same."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from enum import StrEnum
from typing import Any

import jsonschema
import pytest

from equipment.site.calc.record_json import from_text, json_schema_of, to_text

SCHEMA = "penround/test/1"


class Colour(StrEnum):
    RED = "red"


@dataclass(frozen=True)
class Part:
    """What a whole is made of.

    And more words.
    """

    on: date
    at: time
    parts: tuple["Part", ...] = ()


@dataclass(frozen=True)
class Whole:
    """What is written."""

    seen_at: datetime
    part: Part | None
    weights_kg: Mapping[str, float] = field(default_factory=dict)
    colour: Colour = Colour.RED
    n: int = 0
    is_so: bool = False
    fact: str | int | tuple[str, ...] = ""


class PathError(ValueError):
    def __init__(self, path: str, rule: str) -> None:
        super().__init__(f"{path}: {rule}")
        self.path = path


WHOLE = Whole(
    seen_at=datetime(2026, 3, 8, 9, tzinfo=UTC),
    part=Part(date(2026, 3, 8), time(22), (Part(date(2026, 3, 9), time(6, 30)),)),
    weights_kg={"a": 20},
    fact=("x", "y"),
)


def read(data: dict[str, Any]) -> Any:
    return from_text(SCHEMA, Whole, json.dumps(data), PathError)


def test_a_record_comes_back_as_it_was() -> None:
    text = to_text(SCHEMA, WHOLE)

    assert from_text(SCHEMA, Whole, text, PathError) == WHOLE
    assert json.loads(text)["part"]["at"] == "22:00:00"


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"schema": "other/1"}, "$.schema"),
        ({"unknown": 1}, "$.unknown"),
        ({"n": True}, "$.n"),
        ({"n": 1.5}, "$.n"),
        ({"seen_at": "2026-03-08T09:00:00"}, "$.seen_at"),
        ({"colour": "blue"}, "$.colour"),
        ({"weights_kg": {"a": "heavy"}}, "$.weights_kg.a"),
        ({"part": {"on": "2026-03-08"}}, "$.part.at"),
        ({"part": {"on": "2026-02-30", "at": "22:00"}}, "$.part.on"),
        ({"part": {"on": "2026-02-20", "at": "22:00Z"}}, "$.part.at"),
        ({"part": {"on": "2026-02-20", "at": "22:00", "parts": [7]}}, "$.part.parts[0]"),
    ],
)
def test_what_is_wrong_is_refused_with_its_path(change: dict[str, Any], path: str) -> None:
    with pytest.raises(PathError) as refusal:
        read(json.loads(to_text(SCHEMA, WHOLE)) | change)
    assert refusal.value.path == path


def test_text_that_is_no_json_is_refused() -> None:
    with pytest.raises(PathError, match="is not JSON"):
        from_text(SCHEMA, Whole, "{", PathError)


def test_the_schema_says_what_is_needed_and_what_it_is() -> None:
    schema = json_schema_of(SCHEMA, Whole)

    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["description"] == "What is written."
    assert schema["required"] == ["schema", "seen_at", "part"]
    assert schema["properties"]["schema"] == {"const": SCHEMA}
    assert schema["properties"]["part"] == {"anyOf": [{"$ref": "#/$defs/Part"}, {"type": "null"}]}
    assert schema["properties"]["weights_kg"]["additionalProperties"] == {"type": "number"}
    assert schema["properties"]["colour"] == {"enum": ["red"]}
    part = schema["$defs"]["Part"]
    assert part["description"] == "What a whole is made of."
    assert part["properties"]["on"] == {"type": "string", "format": "date"}
    assert part["properties"]["parts"]["items"] == {"$ref": "#/$defs/Part"}
    assert not part["additionalProperties"]


def test_what_is_written_keeps_the_schema() -> None:
    validator = jsonschema.Draft202012Validator(json_schema_of(SCHEMA, Whole))
    written = json.loads(to_text(SCHEMA, WHOLE))

    assert not list(validator.iter_errors(written))
    assert list(validator.iter_errors(written | {"unknown": 1}))

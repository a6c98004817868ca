"""The documented JSON form of records: dataclasses to text and back, and its JSON Schema.

An object of the form holds exactly the fields of its record, under their names, and the outermost
one `schema` besides: which form it is, with its number. Fields with a default may be left out.
Instants are ISO 8601 with an offset, any on the way in and UTC on the way out; local dates and
times of day are ISO 8601 without one; lists stand for tuples; durations are numbers in the unit
that ends the name. An unknown, missing or mistyped field is refused with its path.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import MISSING, Field, dataclass, fields, is_dataclass
from datetime import UTC, date, datetime, time
from enum import StrEnum
from functools import cache
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

Refusal = Callable[[str, str], Exception]  # an error of the path or record, and the rule it breaks
JsonObject = dict[str, Any]


def to_text(schema: str, record: object) -> str:
    """Write a record as JSON text, each record in it on its fields' names.

    Parameters
    ----------
    schema : str
        Name and number of the form.
    record : dataclass instance
        Of dataclasses, tuples, mappings, text, numbers, truth values, instants, dates and times.
    """
    return json.dumps({"schema": schema, **_encoded(record)}, ensure_ascii=False)


def from_text(schema: str, kind: Any, text: str, error: Refusal) -> Any:
    """Read a record from JSON text.

    Parameters
    ----------
    schema : str
        Name and number that the text must carry.
    kind : type
        The outermost record.
    text : str
    error : callable
        Makes the error to raise from a path or record and the rule it breaks; what the records
        raise of their own goes through as it is.
    """
    try:
        data = json.loads(text)
    except ValueError as cause:
        raise error("$", f"is not JSON: {cause}") from cause
    if not isinstance(data, dict) or data.pop("schema", None) != schema:
        raise error("$.schema", f"must be {schema!r}")
    return _Reader(error).record(kind, data, "$")


def _encoded(value: Any) -> Any:
    if is_dataclass(value):
        return {f.name: _encoded(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, tuple):
        return [_encoded(item) for item in value]
    if isinstance(value, Mapping):
        return {key: _encoded(item) for key, item in value.items()}
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    return value.isoformat() if isinstance(value, date | time) else value


@cache
def _shape(kind: Any) -> tuple[JsonObject, dict[str, Field[Any]]]:
    return get_type_hints(kind), {f.name: f for f in fields(kind)}


def _is_needed(spec: Field[Any]) -> bool:
    return spec.default is spec.default_factory is MISSING


def _instant(value: str) -> datetime:
    at = datetime.fromisoformat(value)
    if at.tzinfo is None:
        raise ValueError("an instant needs an offset")
    return at.astimezone(UTC)


def _time_of_day(value: str) -> time:
    at = time.fromisoformat(value)
    if at.tzinfo is not None:
        raise ValueError("a local time has no offset")
    return at


_READERS: dict[type, tuple[tuple[type, ...], Callable[[Any], Any], JsonObject]] = {
    str: ((str,), str, {"type": "string"}),
    bool: ((bool,), bool, {"type": "boolean"}),
    int: ((int,), int, {"type": "integer"}),
    # 20 stays 20, so that a round trip is exact
    float: ((int, float), lambda number: number, {"type": "number"}),
    datetime: ((str,), _instant, {"type": "string", "format": "date-time"}),
    date: ((str,), date.fromisoformat, {"type": "string", "format": "date"}),
    # no "format": that of JSON Schema asks for an offset
    time: ((str,), _time_of_day, {"type": "string", "pattern": r"^\d\d:\d\d(:\d\d)?$"}),
}


@dataclass(frozen=True, slots=True)
class _Reader:
    error: Refusal

    def record(self, kind: Any, data: Any, path: str) -> Any:
        hints, known = _shape(kind)
        if not isinstance(data, dict):
            raise self.error(path, "must be an object")
        for name in data:
            if name not in known:
                raise self.error(f"{path}.{name}", "is not a known field")
        for name, spec in known.items():
            if name not in data and _is_needed(spec):
                raise self.error(f"{path}.{name}", "is missing")
        return kind(
            **{name: self.value(hints[name], v, f"{path}.{name}") for name, v in data.items()}
        )

    def value(self, kind: Any, value: Any, path: str) -> Any:
        origin, args = get_origin(kind), get_args(kind)
        if origin in (Union, UnionType):
            return self._one_of(args, value, path)
        if origin is tuple:
            if not isinstance(value, list):
                raise self.error(path, "must be a list")
            return tuple(self.value(args[0], item, f"{path}[{i}]") for i, item in enumerate(value))
        if origin is not None:
            if not isinstance(value, dict):
                raise self.error(path, "must be an object")
            return {key: self.value(args[1], v, f"{path}.{key}") for key, v in value.items()}
        read = self.record if is_dataclass(kind) else self._scalar
        return read(kind, value, path)

    def _one_of(self, kinds: tuple[Any, ...], value: Any, path: str) -> Any:
        if value is None and NoneType in kinds:
            return None
        options = [kind for kind in kinds if kind is not NoneType]
        if len(options) == 1:
            return self.value(options[0], value, path)
        if isinstance(value, list):
            return self.value(next(k for k in options if get_origin(k) is tuple), value, path)
        if not isinstance(value, tuple(k for k in options if get_origin(k) is None)):
            raise self.error(path, f"{value!r} is of no type known here")
        return value

    def _scalar(self, kind: Any, value: Any, path: str) -> Any:
        is_enum = issubclass(kind, StrEnum)
        accepted, read = ((str,), kind) if is_enum else _READERS[kind][:2]
        # bool is an int to isinstance, but true is no number of minutes.
        if not isinstance(value, accepted) or (isinstance(value, bool) and kind is not bool):
            raise self.error(path, f"{value!r} is not a {kind.__name__}")
        try:
            return read(value)
        except ValueError as cause:
            raise self.error(path, f"{value!r} is not a {kind.__name__}: {cause}") from cause


def json_schema_of(schema: str, kind: Any) -> JsonObject:
    """Write the JSON Schema (draft 2020-12) of a form.

    Parameters
    ----------
    schema : str
        Name and number of the form.
    kind : type
        The outermost record; each record's first line of docstring describes it.

    Returns
    -------
    dict
        What `to_text` writes and `from_text` reads keeps it; a record's own rules are told in its
        docstring alone.
    """
    records: dict[str, JsonObject] = {}
    whole = _schema_of_record(kind, records)
    whole["properties"] = {"schema": {"const": schema}, **whole["properties"]}
    whole["required"] = ["schema", *whole["required"]]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": schema,
        **whole,
        "$defs": {name: records[name] for name in sorted(records)},
    }


def _schema_of_record(kind: Any, records: dict[str, JsonObject]) -> JsonObject:
    hints, known = _shape(kind)
    return {
        "description": (kind.__doc__ or "").strip().partition("\n")[0],
        "type": "object",
        "properties": {name: _schema_of(hints[name], records) for name in known},
        "required": [name for name, spec in known.items() if _is_needed(spec)],
        "additionalProperties": False,
    }


def _schema_of(kind: Any, records: dict[str, JsonObject]) -> JsonObject:
    origin, args = get_origin(kind), get_args(kind)
    if origin in (Union, UnionType):
        return {"anyOf": [_schema_of(option, records) for option in args]}
    if origin is tuple:
        return {"type": "array", "items": _schema_of(args[0], records)}
    if origin is not None:
        return {"type": "object", "additionalProperties": _schema_of(args[1], records)}
    if is_dataclass(kind):
        return _reference_to(kind, records)
    return _schema_of_scalar(kind)


def _schema_of_scalar(kind: Any) -> JsonObject:
    if kind is NoneType:
        return {"type": "null"}
    if issubclass(kind, StrEnum):
        return {"enum": [str(member) for member in kind]}
    return dict(_READERS[kind][2])


def _reference_to(kind: Any, records: dict[str, JsonObject]) -> JsonObject:
    name = kind.__name__
    if name not in records:
        records[name] = {}  # a record may hold its like
        records[name] |= _schema_of_record(kind, records)
    return {"$ref": f"#/$defs/{name}"}

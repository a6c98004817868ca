"""The documented JSON form of a problem and of a solution.

An object of the form holds exactly the fields of its record, under their names (`problem`,
`resources` and `solution` list them with their units), plus `schema` at the top:
"penround/day-problem/1" or "penround/day-solution/1". Fields with a default may be left out.
Instants are ISO 8601 with an offset, any on the way in and UTC on the way out; lists stand for
tuples; durations are numbers in the unit that ends the name. An unknown, missing or mistyped field
is refused with its path.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import MISSING, Field, fields, is_dataclass
from datetime import UTC, datetime
from enum import StrEnum
from functools import cache
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from schedules.dayplan.calc import problem as problem_records
from schedules.dayplan.calc import solution as solution_records
from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.resources import ProblemError
from schedules.dayplan.calc.solution import Solution


def problem_to_json(problem: Problem) -> str:
    """Write a problem as JSON text, each record on its fields' names."""
    return _to_text(problem_records.SCHEMA, problem)


def problem_from_json(text: str) -> Problem:
    """Read a problem from JSON text.

    Raises
    ------
    ProblemError
        The text is no problem: the path or the record, and the rule it breaks.
    """
    problem: Problem = _from_text(problem_records.SCHEMA, Problem, text)
    return problem


def solution_to_json(solution: Solution) -> str:
    """Write a solution as JSON text."""
    return _to_text(solution_records.SCHEMA, solution)


def solution_from_json(text: str) -> Solution:
    """Read a solution from JSON text.

    Raises
    ------
    ProblemError
        The text is no solution.
    """
    solution: Solution = _from_text(solution_records.SCHEMA, Solution, text)
    return solution


def _to_text(schema: str, record: object) -> str:
    return json.dumps({"schema": schema, **_encoded(record)}, ensure_ascii=False)


def _from_text(schema: str, kind: Any, text: str) -> Any:
    try:
        data = json.loads(text)
    except ValueError as error:
        raise ProblemError("$", f"is not JSON: {error}") from error
    if not isinstance(data, dict) or data.pop("schema", None) != schema:
        raise ProblemError("$.schema", f"must be {schema!r}")
    return _record(kind, data, "$")


def _encoded(value: Any) -> Any:
    if is_dataclass(value):
        return {f.name: _encoded(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, tuple):
        return [_encoded(item) for item in value]
    if isinstance(value, Mapping):
        return {key: _encoded(item) for key, item in value.items()}
    return value.astimezone(UTC).isoformat() if isinstance(value, datetime) else value


@cache
def _shape(kind: Any) -> tuple[dict[str, Any], dict[str, Field[Any]]]:
    return get_type_hints(kind), {f.name: f for f in fields(kind)}


def _record(kind: Any, data: Any, path: str) -> Any:
    hints, known = _shape(kind)
    if not isinstance(data, dict):
        raise ProblemError(path, "must be an object")
    for name in data:
        if name not in known:
            raise ProblemError(f"{path}.{name}", "is not a known field")
    for name, spec in known.items():
        if name not in data and spec.default is spec.default_factory is MISSING:
            raise ProblemError(f"{path}.{name}", "is missing")
    return kind(**{name: _decoded(hints[name], v, f"{path}.{name}") for name, v in data.items()})


def _decoded(kind: Any, value: Any, path: str) -> Any:
    origin, args = get_origin(kind), get_args(kind)
    if origin in (Union, UnionType):
        return _one_of(args, value, path)
    if origin is tuple:
        if not isinstance(value, list):
            raise ProblemError(path, "must be a list")
        return tuple(_decoded(args[0], item, f"{path}[{i}]") for i, item in enumerate(value))
    if origin is not None:
        if not isinstance(value, dict):
            raise ProblemError(path, "must be an object")
        return {key: _decoded(args[1], item, f"{path}.{key}") for key, item in value.items()}
    return _record(kind, value, path) if is_dataclass(kind) else _scalar(kind, value, path)


def _one_of(kinds: tuple[Any, ...], value: Any, path: str) -> Any:
    if value is None and NoneType in kinds:
        return None
    options = [kind for kind in kinds if kind is not NoneType]
    if len(options) == 1:
        return _decoded(options[0], value, path)
    if isinstance(value, list):
        return _decoded(next(k for k in options if get_origin(k) is tuple), value, path)
    if not isinstance(value, tuple(k for k in options if get_origin(k) is None)):
        raise ProblemError(path, f"{value!r} is of no type known here")
    return value


def _instant(value: str) -> datetime:
    at = datetime.fromisoformat(value)
    if at.tzinfo is None:
        raise ValueError("an instant needs an offset")
    return at.astimezone(UTC)


_READERS: dict[type, tuple[tuple[type, ...], Callable[[Any], Any]]] = {
    str: ((str,), str),
    bool: ((bool,), bool),
    int: ((int,), int),
    float: ((int, float), lambda number: number),  # 20 stays 20, so that a round trip is exact
    datetime: ((str,), _instant),
}


def _scalar(kind: Any, value: Any, path: str) -> Any:
    accepted, read = ((str,), kind) if issubclass(kind, StrEnum) else _READERS[kind]
    # bool is an int to isinstance, but true is no number of minutes.
    if not isinstance(value, accepted) or (isinstance(value, bool) and kind is not bool):
        raise ProblemError(path, f"{value!r} is not a {kind.__name__}")
    try:
        return read(value)
    except ValueError as error:
        raise ProblemError(path, f"{value!r} is not a {kind.__name__}: {error}") from error

"""Published instances of three scheduling problems, read as they are; fixtures/published/dayplan.

What each set is, where it comes from and which values are the best known stands in the README
beside the files.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot
from pathlib import Path

FOLDER = Path(__file__).parents[3] / "fixtures" / "published" / "dayplan"
Parsed = dict[str, object]


@dataclass(frozen=True, slots=True)
class SkillProject:
    """A multi-skill project: least makespan.

    `needs[task][skill]` people with a skill are at a task from its start to its end;
    `masters[person]` are the skills of a person. `precedences` are (before, after), finish to
    start. Tasks that take no time need nobody: the start and the end.
    """

    durations: tuple[int, ...]
    needs: tuple[tuple[int, ...], ...]
    masters: tuple[frozenset[int], ...]
    precedences: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class LagProject:
    """A project with lags between starts and several resources: least makespan.

    `lags` are (one, lag, other): the start of `other` is no earlier than that of `one` plus `lag`,
    which is below 0 where it says how late `one` may be at most.
    """

    durations: tuple[int, ...]
    capacities: tuple[int, ...]
    uses: tuple[tuple[int, ...], ...]
    lags: tuple[tuple[int, int, int], ...]


@dataclass(frozen=True, slots=True)
class Stop:
    """The depot, a technician's home or a request; `parts` are held, or used up."""

    x: float
    y: float
    ready: float
    due: float
    service: float
    skills: frozenset[int]
    tools: frozenset[int]
    parts: tuple[int, ...]

    def way(self, other: Stop) -> float:
        """Time on the way: the straight line at speed 1."""
        return hypot(self.x - other.x, self.y - other.y)


@dataclass(frozen=True, slots=True)
class TechnicianDay:
    """Technicians from and to their homes, with skills, tools and parts: least time on duty.

    `depot` has all tools and parts without limit; a technician who calls there holds them all from
    then on. A request takes one technician with its skill, begins within its window (due is the
    latest start) and uses up its parts. Time on duty runs from leaving home, as late as that may
    be, to being back, with all waiting.
    """

    depot: Stop
    technicians: tuple[Stop, ...]
    requests: tuple[Stop, ...]


def skill_project(name: str) -> SkillProject:
    """Read one of the mspsp files, in either of their two forms."""
    data = _dzn(FOLDER / "mspsp" / f"{name}.dzn")
    if "nActs" in data:
        masters = (
            frozenset(k for k, has in enumerate(row) if has) for row in _rows(data["mastery"])
        )
        pairs = zip(_row(data["pred"]), _row(data["succ"]), strict=True)
        return SkillProject(
            _row(data["dur"]),
            _rows(data["sreq"]),
            tuple(masters),
            tuple((one - 1, other - 1) for one, other in pairs),
        )
    followers = enumerate(_rows(data["suc"]))
    return SkillProject(
        _row(data["d"]),
        tuple(zip(*_rows(data["rr"]), strict=True)),
        tuple(frozenset(k - 1 for k in row) for row in _rows(data["has_skills"])),
        tuple((task, other - 1) for task, row in followers for other in row),
    )


def lag_project(name: str) -> LagProject:
    """Read one of the rcpsp_max files."""
    data = _dzn(FOLDER / "rcpsp_max" / f"{name}.dzn")
    lags = ((one - 1, lag, other - 1) for one, lag, other in _rows(data["dcons"]))
    uses = tuple(zip(*_rows(data["rr"]), strict=True))
    return LagProject(_row(data["dur"]), _row(data["rcap"]), uses, tuple(lags))


def technician_day(name: str) -> TechnicianDay:
    """Read one of the trsp files."""
    lines = (FOLDER / "trsp" / f"{name}.txt").read_text().splitlines()
    n_technicians = int(lines[3].split()[0])
    depot, *stops = (_stop(line.split()) for line in lines[6:])
    return TechnicianDay(depot, tuple(stops[:n_technicians]), tuple(stops[n_technicians:]))


def technician_routes(name: str) -> tuple[float, dict[int, list[int | None]]]:
    """Read a published solution: its value, and each technician's requests, None for the depot."""
    value, *lines = (FOLDER / "trsp" / f"{name}.solution.txt").read_text().split()
    n_technicians = len(technician_day(name).technicians)
    n_stops = n_technicians + len(technician_day(name).requests)
    routes = {}
    for line in lines:
        home, *stops, _ = map(int, line.split(","))
        at = [None if stop > n_stops else stop - n_technicians - 1 for stop in stops]
        routes[home - 1] = at
    return float(value), routes


def time_on_duty(day: TechnicianDay, technician: int, stops: Sequence[int | None]) -> float | None:
    """Least time on duty of a technician with these stops; none: it cannot be done."""
    me = day.technicians[technician]
    route = [day.depot if stop is None else day.requests[stop] for stop in stops]
    latest = me.due  # to be at each stop, from the last to the first
    for stop, after in zip(reversed(route), [me, *reversed(route)], strict=False):
        latest = min(stop.due, latest - stop.service - stop.way(after))
    if not route or latest < me.ready + me.way(route[0]):
        return None if route else 0.0
    at_earliest = _end(me, route, me.ready)
    # Leaving later costs no time on duty until the first stop without waiting is reached late.
    leaves = min(latest - me.way(route[0]), _latest_leaving(me, route, at_earliest))
    return at_earliest - leaves if _has_all(me, stops, day) else None


def _end(me: Stop, route: list[Stop], leaves: float) -> float:
    here, at = me, leaves
    for stop in route:
        at, here = max(at + here.way(stop), stop.ready) + stop.service, stop
    return at + here.way(me)


def _latest_leaving(me: Stop, route: list[Stop], end: float) -> float:
    """Latest leaving with which the last stop is still done as early as ever."""
    at, here = end, me
    for stop in reversed(route):
        at, here = at - here.way(stop) - stop.service, stop
    return at - here.way(me)


def _has_all(me: Stop, stops: Sequence[int | None], day: TechnicianDay) -> bool:
    """Whether skills, tools and parts are at hand at each stop."""
    parts, has_called = list(me.parts), False
    for stop in stops:
        has_called = has_called or stop is None
        if stop is None:
            continue
        request = day.requests[stop]
        if not has_called:
            parts = [has - needs for has, needs in zip(parts, request.parts, strict=True)]
        has_tools = has_called or request.tools <= me.tools
        if not request.skills <= me.skills or not has_tools or min(parts) < 0:
            return False
    return True


def _stop(words: list[str]) -> Stop:
    x, y, ready, due, service = map(float, words[1:6])
    skills, tools, parts = ([] if w == "-" else list(map(int, w.split(","))) for w in words[6:9])
    return Stop(x, y, ready, due, service, frozenset(skills), frozenset(tools), tuple(parts))


def _dzn(path: Path) -> Parsed:
    """Read `name = value;` with integers, lists, lists of sets and tables by rows."""
    text = re.sub(r"%.*", "", path.read_text())
    pairs = re.findall(r"(\w+)\s*=\s*([^;]*);", text)
    return {name: _value(words.strip()) for name, words in pairs}


def _value(words: str) -> object:
    words = words.replace("true", "1").replace("false", "0")
    if words.startswith("[|"):
        return tuple(_integers(row) for row in words[2:-2].split("|") if row.strip(" ,\t\n"))
    if words.startswith("[") and "{" in words:
        return tuple(_integers(row) for row in re.findall(r"\{([^}]*)\}", words))
    return _integers(words) if words.startswith("[") else int(words)


def _integers(words: str) -> tuple[int, ...]:
    return tuple(map(int, re.findall(r"-?\d+", words)))


def _row(value: object) -> tuple[int, ...]:
    assert isinstance(value, tuple)
    return value


def _rows(value: object) -> tuple[tuple[int, ...], ...]:
    assert isinstance(value, tuple)
    return value

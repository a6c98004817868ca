"""Published projects as days to plan: the end is a milestone, late from the first minute on.

One time unit of the project is a minute. Nothing but the end has a price that counts, so that what
a plan costs is its makespan.
"""

from datetime import UTC, datetime, timedelta

from schedules.dayplan.calc.problem import Dependency, Job, Problem, Relation, Seat, Weights
from schedules.dayplan.calc.resources import (
    Amount,
    Gear,
    Interval,
    Person,
    Place,
    Shift,
    Skill,
)
from schedules.dayplan.calc.solution import Solution

from .public_instances import LagProject, SkillProject, Stop, TechnicianDay

START = datetime(2026, 1, 1, tzinfo=UTC)
END = "end"
LEFT_OUT_COST = 1e6  # above any makespan
SITE = Place("site", 0, 0)


def skill_day(project: SkillProject) -> Problem:
    """Say a multi-skill project: a seat for each person of each skill, all at one place."""
    horizon = Interval(START, START + timedelta(minutes=sum(project.durations)))
    waits: dict[int, list[int]] = {task: [] for task in range(len(project.durations))}
    for before, after in project.precedences:
        waits[after].append(before)
    jobs = tuple(
        _job(
            task,
            horizon,
            length,
            depends_on=tuple(Dependency(str(before)) for before in waits[task]),
            seats=tuple(
                Seat((str(skill),))
                for skill, n in enumerate(project.needs[task])
                for _ in range(n if length else 0)
            ),
        )
        for task, length in enumerate(project.durations)
    )
    people = tuple(
        Person(
            str(number),
            SITE.key,
            (Shift(horizon.start, horizon.end),),
            skills=tuple(Skill(str(skill)) for skill in sorted(masters)),
        )
        for number, masters in enumerate(project.masters)
    )
    return Problem(horizon, (SITE,), people, jobs=(*jobs, _end(jobs, horizon)))


def lag_day(project: LagProject) -> Problem:
    """Say a project with lags: its resources as gear, two lags of a pair as one dependency."""
    latest = sum(project.durations) + sum(max(0, lag) for _, lag, _ in project.lags)
    horizon = Interval(START, START + timedelta(minutes=latest))
    least: dict[tuple[int, int], int] = {}
    for one, lag, other in project.lags:
        least[one, other] = max(lag, least.get((one, other), lag))
    waits: dict[int, list[Dependency]] = {task: [] for task in range(len(project.durations))}
    for one, other in sorted({(min(pair), max(pair)) for pair in least}):
        back = least.get((other, one))
        dependency = Dependency(
            str(one),
            Relation.START_TO_START,
            least.get((one, other), -latest),
            None if back is None else -back,
        )
        waits[other].append(dependency)
    jobs = tuple(
        _job(
            task,
            horizon,
            length,
            depends_on=tuple(waits[task]),
            gear=tuple(
                Amount(str(kind), n) for kind, n in enumerate(project.uses[task]) if n and length
            ),
        )
        for task, length in enumerate(project.durations)
    )
    gear = tuple(Gear(str(kind), n) for kind, n in enumerate(project.capacities))
    return Problem(horizon, (SITE,), jobs=(*jobs, _end(jobs, horizon)), gear=gear)


def technician_problem(day: TechnicianDay) -> Problem:
    """Say a day of technicians: a unit of length is a metre, walked in a minute."""
    stops = (day.depot, *day.technicians, *day.requests)
    n_parts = len(day.technicians[0].parts)
    tools = tuple(sorted({f"tool {k}" for stop in stops for k in stop.tools}))
    stocks = (*tools, *(f"part {k}" for k in range(n_parts)))
    places = tuple(
        Place(str(i), stop.x, stop.y, stocks=stocks if i == 0 else ())
        for i, stop in enumerate(stops)
    )
    n_homes = 1 + len(day.technicians)
    return Problem(
        _minutes(day.depot.ready, day.depot.due),
        places,
        tuple(_technician(str(i + 1), t) for i, t in enumerate(day.technicians)),
        jobs=tuple(_request(str(i + n_homes), stop) for i, stop in enumerate(day.requests)),
        ways_m=tuple(tuple(one.way(other) for other in stops) for one in stops),
        walk_m_min=1,
        tools=tools,
        weights=Weights(travel_per_min=0, duty_per_min=1),
    )


def technician_stops(solution: Solution, n_technicians: int) -> dict[int, list[int | None]]:
    """Return each technician's requests in order, None for a call at the depot."""
    n_homes = 1 + n_technicians
    routes: dict[int, list[int | None]] = {}
    for given in sorted(solution.assignments, key=lambda given: given.start):
        stops = routes.setdefault(int(given.people[0]) - 1, [])
        stops += [] if given.calls_at is None else [None]
        stops.append(int(given.job) - n_homes)
    return routes


def _technician(key: str, home: Stop) -> Person:
    span = _minutes(home.ready, home.due)
    return Person(
        key,
        key,
        (Shift(span.start, span.end),),
        skills=tuple(Skill(f"skill {k}") for k in sorted(home.skills)),
        end_place=key,
        carries=_items(home),
    )


def _request(key: str, stop: Stop) -> Job:
    return Job(
        key,
        "request",
        key,
        (_minutes(stop.ready, stop.due + stop.service),),
        stop.service,
        skills=tuple(f"skill {k}" for k in sorted(stop.skills)),
        items=_items(stop),
        left_out_cost=LEFT_OUT_COST,
    )


def _items(stop: Stop) -> tuple[Amount, ...]:
    tools = (Amount(f"tool {k}") for k in sorted(stop.tools))
    return (*tools, *(Amount(f"part {k}", n) for k, n in enumerate(stop.parts) if n))


def _minutes(first: float, last: float) -> Interval:
    return Interval(START + timedelta(minutes=first), START + timedelta(minutes=last))


def _job(
    task: int,
    horizon: Interval,
    length: int,
    *,
    depends_on: tuple[Dependency, ...],
    seats: tuple[Seat, ...] = (),
    gear: tuple[Amount, ...] = (),
) -> Job:
    return Job(
        str(task),
        "task",
        SITE.key,
        (horizon,),
        length,
        n_people=len(seats),
        seats=seats,
        gear=gear,
        depends_on=depends_on,
        left_out_cost=LEFT_OUT_COST,
    )


def _end(jobs: tuple[Job, ...], horizon: Interval) -> Job:
    return Job(
        END,
        "end",
        SITE.key,
        (horizon,),
        0,
        n_people=0,
        depends_on=tuple(Dependency(job.id) for job in jobs),
        due_at=horizon.start,
        late_per_min=1,
        left_out_cost=LEFT_OUT_COST,
    )

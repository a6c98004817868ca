"""Whole invented days of farms of Three Cairns' kind, sized by their number of jobs.

Pens, bays, machines and people grow together. Minutes, speeds and numbers are common practice, no
source: they press so hard that whoever plans job by job leaves work out or is late, and a good plan
need not.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np

from schedules.dayplan.calc.problem import Dependency, Job, Problem, Relation
from schedules.dayplan.calc.resources import (
    Block,
    Bucket,
    Effort,
    HeatRest,
    Interval,
    Machine,
    Person,
    Place,
    Shift,
    Skill,
)

DAY = datetime(2026, 7, 14, 6, tzinfo=UTC)  # midnight of a summer day at the farm
DAY_MIN, SHIFT_MIN = 1440, 480
PENS_A_PARLOR = 14
ROLES = (
    ("beds", "groomer"),
    ("loader", "beds", "truck"),
    ("water", "sampler", "beds"),
    ("beds", "groomer", "loader"),
    ("mechanic", "loader"),
)


@dataclass(frozen=True, slots=True)
class Size:
    """How much there is of everything."""

    n_jobs: int

    @property
    def n_people(self) -> int:
        return {100: 16, 300: 40, 1000: 130}.get(self.n_jobs, max(12, round(0.13 * self.n_jobs)))

    @property
    def n_pens(self) -> int:
        return max(2, round(self.n_jobs / 32))

    @property
    def n_bays(self) -> int:
        return max(2, round(self.n_jobs / 33))

    def n_machines(self, kind: str) -> int:
        jobs_each = {"loader": 45, "groomer": 75, "truck": 150, "spreader": 300}[kind]
        return max(1, round(self.n_jobs / jobs_each))


@dataclass
class _Day:
    size: Size
    rng: np.random.Generator
    places: list[Place] = field(default_factory=list)
    people: list[Person] = field(default_factory=list)
    machines: list[Machine] = field(default_factory=list)
    jobs: list[Job] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)

    def between(self, low: int, high: int) -> int:
        return int(self.rng.integers(low, high))


def at(minute: float) -> datetime:
    return DAY + timedelta(minutes=minute)


def span(start_min: float, end_min: float) -> Interval:
    return Interval(at(start_min), at(end_min))


def farm_day(n_jobs: int, seed: int = 1) -> Problem:
    """Build a day of `n_jobs` jobs: three milkings of all pens, sand, water, machines, checks."""
    day = _Day(Size(n_jobs), np.random.default_rng([n_jobs, seed]))
    _add_places(day)
    _add_people(day)
    _add_machines(day)
    for milking in range(3):
        for pen in range(day.size.n_pens):
            _add_pen_visit(day, milking, pen)
    for bay in range(day.size.n_bays):
        _add_bay(day, bay)
    _add_yard(day)
    _add_upkeep(day)
    for number in range(n_jobs - len(day.jobs)):
        _add_check(day, number)
    return Problem(
        horizon=span(0, DAY_MIN),
        places=tuple(day.places),
        people=tuple(day.people),
        machines=tuple(day.machines),
        jobs=tuple(day.jobs),
        blocks=tuple(day.blocks),
        daylight=(span(330, 1230),),
    )


def _add_places(day: _Day) -> None:
    for pen in range(day.size.n_pens):
        x_m, y_m = 90.0 * (pen // 4), (-210.0, -70.0, 70.0, 210.0)[pen % 4]
        day.places.append(Place(f"pen-{pen}", x_m, y_m))
        for k in range(2):
            day.places.append(Place(f"alley-{pen}-{k}", x_m, y_m + 12 * k, is_exclusive=True))
    east_m = 90.0 * (day.size.n_pens / 4) + 150
    for lane in range(2):
        day.places.append(Place(f"lane-{lane}", east_m, 20.0 * lane, is_exclusive=True))
    for bay in range(day.size.n_bays):
        x_m, y_m = east_m + 80 + 35.0 * (bay // 2), 120.0 + 60 * (bay % 2)
        day.places.append(Place(f"bay-{bay}", x_m, y_m, is_exclusive=True))
    day.places += [Place("shop", east_m / 2, -330), Place("basin", east_m + 150, -150)]
    day.places += [Place("tank", east_m - 60, -60), Place("pile", east_m + 60, 260)]


def _add_people(day: _Day) -> None:
    heats = (HeatRest(at(720), at(900), 0, 5, 15), HeatRest(at(900), at(1020), 5, 15, 25))
    for number in range(day.size.n_people):
        shift, place = number % 3, number // 3
        start = SHIFT_MIN * shift
        pause = start + 180 + 20 * (place % 6)
        lapses = at(start + 300) if number % 11 == 10 else None
        roles = ROLES[place % len(ROLES)]
        person = Person(
            id=f"p{shift}-{place:02}",
            start_place="shop",
            shifts=(Shift(at(start), at(start + SHIFT_MIN), overtime_min=30),),
            crew=f"crew-{shift}-{place % max(2, day.size.n_people // 24)}",
            breaks=(span(pause, pause + 30),),
            skills=tuple(Skill(key, lapses if k == 0 else None) for k, key in enumerate(roles)),
            heat_rests=heats,
        )
        day.people.append(person)


def _add_machines(day: _Day) -> None:
    skills = {"loader": "loader", "groomer": "groomer", "truck": "truck", "spreader": "loader"}
    speeds_m_min = {"loader": 200, "groomer": 150, "truck": 300, "spreader": 200}
    for kind, skill in skills.items():
        for number in range(day.size.n_machines(kind)):
            held = day.between(300, 1200)
            machine = Machine(
                id=f"{kind}-{number}",
                kind=kind,
                start_place="shop",
                speed_m_min=speeds_m_min[kind],
                available=(span(0, 1440),) if number % 4 else (span(0, 700), span(730, 1440)),
                holds=(span(held, held + 120),) if number % 5 == 4 else (),
                driver_skill=skill,
                hookup_min=3,
                last_bucket=Bucket.DIRTY if kind == "loader" and number % 2 else None,
            )
            day.machines.append(machine)


def _add_pen_visit(day: _Day, milking: int, pen: int) -> None:
    """Beds, crossovers and sand while the pen is empty, then the walk-through that releases it."""
    n_turns = min(PENS_A_PARLOR, day.size.n_pens)
    opens = SHIFT_MIN * milking + 15 + int(395 / n_turns) * (pen % n_turns)
    length = 48 + day.between(0, 8)
    window, closes = (span(opens, opens + length),), opens + length
    here, key, crew = f"pen-{pen}", f"{milking}-{pen}", f"crew-{milking}-{pen % 2}"
    beds = Job(
        id=f"groom-{key}",
        kind="bed_groom",
        place=here,
        windows=window,
        duration_min=14 + day.between(0, 6),
        machine_kinds=("groomer",),
        skills=("beds",),
        priority=2,
        effort=Effort.MODERATE,
        occupies=(f"alley-{pen}-0",),
        preferred_crew=crew,
    )
    rake = Job(
        f"rake-{key}",
        "bed_rake",
        here,
        window,
        18 + day.between(0, 6),
        n_people=2 if pen % 3 == milking else 1,
        skills=("beds",),
        priority=2,
        effort=Effort.HEAVY if pen % 2 else Effort.LIGHT,
        occupies=(f"alley-{pen}-1",),
        preferred_crew=crew,
    )
    cross = Job(f"cross-{key}", "crossover_clean", here, window, 10, skills=("beds",), priority=3)
    waits = tuple(Dependency(job.id) for job in (beds, rake, cross))
    release = Job(f"release-{key}", "pen_release", here, window, 3, priority=1, depends_on=waits)
    day.jobs += [beds, rake, cross, release]
    if pen % 3 == milking:
        day.jobs.append(_delivery(key, here, window))
    _add_flush(day, key, pen, closes)


def _delivery(key: str, pen: str, window: tuple[Interval, ...]) -> Job:
    return Job(
        id=f"deliver-{key}",
        kind="bed_deliver",
        place=pen,
        windows=window,
        duration_min=18,
        n_people=2,
        machine_kinds=("spreader", "loader"),
        priority=3,
        bucket=Bucket.CLEAN,
    )


def _add_flush(day: _Day, key: str, pen: int, closes: int) -> None:
    day.blocks.append(Block(f"pen-{pen}", at(closes), at(closes + 15), "cows_return"))
    for k in range(2):
        flush = closes + 20 + 6 * k
        day.blocks.append(Block(f"alley-{pen}-{k}", at(flush), at(flush + 5), "flush"))
        if pen < PENS_A_PARLOR:
            day.blocks.append(Block(f"lane-{k}", at(flush), at(flush + 8), "lane_flows"))
    watch = (span(closes + 16, closes + 40),)
    check = Job(f"flush-{key}", "flush_check", "tank", watch, 14, priority=3, skills=("beds",))
    day.jobs.append(check)


def _add_bay(day: _Day, bay: int) -> None:
    """Fill with clean sand and turn it; look at its drain and level it."""
    here, key, opens = f"bay-{bay}", f"{bay}", 350 + 90 * (bay % 4)
    fill = Job(
        f"fill-{key}",
        "pad_fill",
        here,
        (span(opens, opens + 300),),
        35 + day.between(0, 10),
        machine_kinds=("loader",),
        priority=3,
        bucket=Bucket.CLEAN,
        due_at=at(opens + 220),
    )
    lag = Dependency(fill.id, Relation.START_TO_START, 60, 180)
    turn = Job(
        f"turn-{key}",
        "pad_turn",
        here,
        (span(opens, 1230),),
        30 + day.between(0, 12),
        machine_kinds=("loader",),
        priority=4,
        is_daylight_only=True,
        bucket=Bucket.CLEAN,
        depends_on=(lag,),
        effort=Effort.LIGHT,
    )
    day.jobs += [fill, turn]
    _add_bay_after(day, key, fill, turn)


def _add_bay_after(day: _Day, key: str, fill: Job, turn: Job) -> None:
    """The look at the drain beside the filling, and the raking after the turning."""
    here, opens = fill.place, fill.windows[0].start
    drain = Dependency(fill.id, Relation.FINISH_TO_FINISH, 20, 150)
    look = Job(
        f"drain-{key}",
        "drain_check",
        "pile",
        (Interval(opens, at(1230)),),
        20,
        priority=5,
        depends_on=(drain,),
    )
    drained = Dependency(turn.id, Relation.FINISH_TO_START, 45, 240)
    rake = Job(
        f"level-{key}",
        "pad_level",
        here,
        (Interval(opens, at(1300)),),
        25,
        n_people=2,
        priority=5,
        depends_on=(drained,),
        effort=Effort.MODERATE,
    )
    day.jobs += [look, rake]


def _add_yard(day: _Day) -> None:
    """Scoop the lanes with a dirty bucket, haul sand, walk the basin dikes in pairs."""
    for number in range(max(4, day.size.n_jobs // 50)):
        lane, opens = number % 2, 1440 * number // max(4, day.size.n_jobs // 50)
        scoop = Job(
            f"scoop-{number}",
            "lane_scoop",
            f"lane-{lane}",
            (span(opens, min(1440, opens + 330)),),
            15,
            machine_kinds=("loader",),
            priority=2,
            bucket=Bucket.DIRTY,
            effort=Effort.LIGHT,
        )
        haul = Job(
            f"haul-{number}",
            "sand_haul",
            "pile",
            (span(opens, min(1440, opens + 350)),),
            50 + day.between(0, 20),
            machine_kinds=("truck",),
            priority=4,
            due_at=at(opens + 290),
            depends_on=(Dependency(scoop.id, Relation.START_TO_FINISH, 10),),
        )
        walk = Job(
            f"dike-{number}",
            "basin_inspect",
            "basin",
            (span(360, 760), span(800, 1200)),
            30,
            n_people=2,
            priority=4,
            is_daylight_only=True,
            effort=Effort.HEAVY,
        )
        day.jobs += [scoop, haul, walk]


def _add_upkeep(day: _Day) -> None:
    """A look at each machine at the start of the day and of an evening; some are serviced."""
    for number, machine in enumerate(day.machines):
        for opens in (0, 960):
            job = Job(
                id=f"prestart-{machine.id}-{opens}",
                kind="prestart",
                place="shop",
                windows=(span(opens, opens + 240),),
                duration_min=10,
                machine_ids=(machine.id,),
                priority=3,
                due_at=at(opens + 120),
            )
            day.jobs.append(job)
        if number % 4 == 0:
            service = Job(
                id=f"service-{machine.id}",
                kind="service",
                place="shop",
                windows=(span(0, 1430),),
                duration_min=90 + 30 * (number % 3),
                machine_ids=(machine.id,),
                needs_driver=False,
                skills=("mechanic",),
                priority=4,
                due_at=at(1300),
            )
            day.jobs.append(service)


def _add_check(day: _Day, number: int) -> None:
    """A look at, or a repair of, a waterer, fan, pump or gate some time in a few hours."""
    opens = day.between(0, 1260)
    closes = min(1440, opens + day.between(100, 240))
    spots = [place.key for place in day.places if not place.is_exclusive]
    skills = ((), ("beds",), ("water",), (), ("sampler",), ("mechanic",))[number % 6]
    job = Job(
        id=f"check-{number}",
        kind="check",
        place=spots[day.between(0, len(spots))],
        windows=(span(opens, closes),),
        duration_min=20 + day.between(0, 41),
        n_people=2 if number % 12 in (3, 6) else 1,
        skills=skills,
        priority=(5, 4, 6, 5, 7)[number % 5],
        due_at=at(max(opens + 70, closes - 40)),
        preferred_crew=f"crew-{opens // SHIFT_MIN}-0" if number % 4 == 0 else None,
    )
    day.jobs.append(job)

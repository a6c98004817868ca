"""Whole invented days of a farm of Three Cairns' kind, by a seeded generator.

Sizes, minutes and speeds are common practice, no source: they only have to press as a farm's do.
"""

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
N_PENS = 14
N_BAYS = 12


def at(minute: float) -> datetime:
    return DAY + timedelta(minutes=minute)


def span(start_min: float, end_min: float) -> Interval:
    return Interval(at(start_min), at(end_min))


@dataclass
class _Day:
    rng: np.random.Generator
    places: list[Place] = field(default_factory=list)
    people: list[Person] = field(default_factory=list)
    machines: list[Machine] = field(default_factory=list)
    jobs: list[Job] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)

    def between(self, low: int, high: int) -> int:
        return int(self.rng.integers(low, high))


def farm_day(seed: int = 1, *, n_people_a_shift: int = 16, n_checks: int = 100) -> Problem:
    """Build a day: three milkings of 14 pens, sand yard, water, machines, and checks."""
    day = _Day(np.random.default_rng(seed))
    _add_places(day)
    _add_people(day, n_people_a_shift)
    _add_machines(day)
    for milking in range(3):
        for pen in range(N_PENS):
            _add_pen_visit(day, milking, pen)
    _add_sand(day)
    _add_upkeep(day)
    for number in range(n_checks):
        _add_check(day, number)
    return Problem(
        horizon=span(0, 1440),
        places=tuple(day.places),
        people=tuple(day.people),
        machines=tuple(day.machines),
        jobs=tuple(day.jobs),
        blocks=tuple(day.blocks),
        daylight=(span(330, 1230),),
    )


def _add_places(day: _Day) -> None:
    for pen in range(N_PENS):
        x_m, y_m = 90.0 * (pen // 2), 70.0 if pen % 2 else -70.0
        day.places.append(Place(f"pen-{pen}", x_m, y_m))
        for k in range(2):
            alley = Place(f"alley-{pen}-{k}", x_m, y_m + 12 * k, is_exclusive=True)
            day.places.append(alley)
    for lane in range(2):
        day.places.append(Place(f"lane-{lane}", 700, 20.0 * lane, is_exclusive=True))
    for bay in range(N_BAYS):
        day.places.append(Place(f"bay-{bay}", 780 + 35.0 * bay, 120, is_exclusive=True))
    day.places += [Place("shop", 300, -200), Place("basin", 900, -150), Place("tank", 650, -60)]
    day.places.append(Place("pile", 800, 200))


def _skills_of(number: int) -> tuple[str, ...]:
    """Sixteen people: bed crew, loader and truck drivers, water, mechanics, a lead."""
    if number % 16 < 7:
        return ("beds", "groomer") if number % 2 else ("beds",)
    if number % 16 < 12:
        return ("loader", "beds", "sampler") if number % 2 else ("loader", "truck")
    return (("water",), ("water", "beds"), ("mechanic", "loader"), ("beds", "loader", "lead"))[
        number % 16 - 12
    ]


def _add_people(day: _Day, n_people_a_shift: int) -> None:
    heat = (HeatRest(at(720), at(1020), 0, 0, 15),)
    for shift in range(3):
        for number in range(n_people_a_shift):
            start = 480 * shift
            pause = start + 180 + 15 * (number % 6)
            day.people.append(
                Person(
                    id=f"p{shift}-{number:02}",
                    start_place="shop",
                    shifts=(Shift(at(start), at(start + 480), overtime_min=30),),
                    crew=f"crew-{shift}-{number % 4}",
                    breaks=(span(pause, pause + 30),),
                    skills=tuple(Skill(key) for key in _skills_of(number)),
                    heat_rests=heat,
                )
            )


def _add_machines(day: _Day) -> None:
    for kind, count, speed in (("loader", 7, 200), ("groomer", 3, 150), ("truck", 3, 300)):
        for number in range(count):
            day.machines.append(
                Machine(
                    id=f"{kind}-{number}",
                    kind=kind,
                    start_place="shop",
                    speed_m_min=speed,
                    available=(span(0, 1440),),
                    driver_skill=kind,
                    hookup_min=2,
                )
            )
    day.machines.append(
        Machine("spreader-0", "spreader", "shop", 200, (span(0, 1440),), driver_skill="loader")
    )


def _add_pen_visit(day: _Day, milking: int, pen: int) -> None:
    """Beds, crossovers and water while the pen is empty, then the walk-through that releases it."""
    opens = 480 * milking + 12 + 31 * pen
    length = 40 + day.between(0, 8)
    window = (span(opens, opens + length),)
    here, key = f"pen-{pen}", f"{milking}-{pen}"
    grooms = []
    for k in range(2):
        grooms.append(f"groom-{key}-{k}")
        day.jobs.append(
            Job(
                id=grooms[-1],
                kind="bed_groom",
                place=here,
                windows=window,
                duration_min=9 + day.between(0, 4),
                machine_kinds=("groomer",),
                skills=("beds",),
                priority=2,
                effort=Effort.MODERATE,
                occupies=(f"alley-{pen}-{k}",),
                preferred_crew=f"crew-{milking}-{pen % 4}",
            )
        )
    crossover = Job(
        f"crossover-{key}", "crossover_clean", here, window, 8, skills=("beds",), priority=3
    )
    waits = tuple(Dependency(job) for job in (*grooms, crossover.id))
    release = Job(f"release-{key}", "pen_release", here, window, 3, priority=1, depends_on=waits)
    day.jobs += [crossover, release]
    closes = opens + length
    day.blocks.append(Block(here, at(closes), at(closes + 15), "cows_return"))
    for k in range(2):
        flush = closes + 20 + 6 * k
        day.blocks.append(Block(f"alley-{pen}-{k}", at(flush), at(flush + 5), "flush"))
        day.blocks.append(Block(f"lane-{pen % 2}", at(flush), at(flush + 8), "lane_flows"))
        if milking == pen % 3:
            watch = (span(flush - 2, flush + 9),)
            check = Job(f"flush-{key}-{k}", "flush_check", "tank", watch, 5, priority=3)
            day.jobs.append(check)


def _add_sand(day: _Day) -> None:
    for bay in range(N_BAYS):
        for turn in range(3):
            before = Dependency(f"turn-{bay}-{turn - 1}", Relation.START_TO_START, 120, 240)
            day.jobs.append(
                Job(
                    id=f"turn-{bay}-{turn}",
                    kind="pad_turn",
                    place=f"bay-{bay}",
                    windows=(span(420, 1200),),
                    duration_min=25,
                    machine_kinds=("loader",),
                    priority=3,
                    is_daylight_only=True,
                    bucket=Bucket.CLEAN,
                    depends_on=(before,) if turn else (),
                )
            )
    for lane in range(2):
        for number in range(2):
            window = (span(720 * number + 10, 720 * number + 470),)
            scoop = Job(
                f"scoop-{lane}-{number}",
                "lane_scoop",
                f"lane-{lane}",
                window,
                20,
                machine_kinds=("loader",),
                priority=2,
                bucket=Bucket.DIRTY,
                effort=Effort.LIGHT,
            )
            day.jobs.append(scoop)
    for number in range(8):
        visit = 12 + 31 * (number % N_PENS) + 480 * (number % 2)
        day.jobs.append(
            Job(
                id=f"deliver-{number}",
                kind="bed_deliver",
                place=f"pen-{number % N_PENS}",
                windows=(span(visit, visit + 40),),
                duration_min=18,
                n_people=2,
                machine_kinds=("spreader", "loader"),
                priority=2,
                bucket=Bucket.CLEAN,
            )
        )


def _add_upkeep(day: _Day) -> None:
    for machine in list(day.machines):
        for shift in range(3):
            window = (span(480 * shift, 480 * shift + 470),)
            day.jobs.append(
                Job(
                    id=f"prestart-{machine.id}-{shift}",
                    kind="prestart",
                    place="shop",
                    windows=window,
                    duration_min=8,
                    machine_ids=(machine.id,),
                    priority=3,
                )
            )
    for number in range(3):
        day.jobs.append(
            Job(
                id=f"service-{number}",
                kind="svc_250",
                place="shop",
                windows=(span(480, 1430),),
                duration_min=150,
                machine_ids=(f"loader-{number}",),
                needs_driver=False,
                skills=("mechanic",),
                priority=4,
            )
        )
    for number in range(5):
        day.jobs.append(
            Job(
                id=f"basin-{number}",
                kind="basin_inspect",
                place="basin",
                windows=(span(360, 1180),),
                duration_min=30,
                n_people=2,
                priority=3,
                is_daylight_only=True,
                effort=Effort.HEAVY,
            )
        )


def _add_check(day: _Day, number: int) -> None:
    """A look at a waterer, fan, pump or gate somewhere, some time in a few hours."""
    opens = day.between(0, 1200)
    where = day.places[day.between(0, len(day.places))]
    place = "tank" if where.is_exclusive else where.key
    blocked_free = "tank" if place.startswith("pen") and number % 3 else place
    closes = min(1435, opens + day.between(90, 240))
    skills = ((), ("beds",), ("water",))[number % 3]
    day.jobs.append(
        Job(
            id=f"check-{number}",
            kind="check",
            place=blocked_free,
            windows=(span(opens, closes),),
            duration_min=5 + day.between(0, 16),
            skills=skills,
            priority=4 if number % 2 else 5,
            due_at=at(closes - 30),
        )
    )

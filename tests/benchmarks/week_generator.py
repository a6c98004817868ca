"""Rosters of this farm's kind: shifts round the clock, skills that lapse, leave, wishes, crews.

All numbers are made up for the scenario (common practice, no source).
"""

from collections.abc import Iterator
from datetime import date, time, timedelta
from itertools import product

import numpy as np

from crews.roster.calc.problem import (
    Contract,
    Crew,
    Demand,
    Fairness,
    Measure,
    Person,
    Problem,
    Rule,
    ShiftKind,
    SkillHeld,
    Wish,
)

STARTS_ON = date(2026, 6, 1)
KINDS = (
    ShiftKind("early", time(5), 8 * 60 + 30, not_next=()),
    ShiftKind("late", time(13), 8 * 60 + 30, not_next=("early",)),
    ShiftKind("night", time(21), 8 * 60 + 30, not_next=("early", "late")),
)
SHARE_OF_SKILL = {"milking": 0.7, "loader": 0.35, "calving": 0.3, "sand": 0.25, "lead": 0.15}
SHARE_OF_SHIFT = {"early": 0.30, "late": 0.24, "night": 0.16}  # of all people, on a weekday
SHARE_NEEDED = {"milking": 0.5, "loader": 0.2, "calving": 0.15, "sand": 0.12, "lead": 0.06}


def farm_weeks(*, n_people: int, n_weeks: int, seed: int = 0) -> Problem:
    rng = np.random.default_rng(seed)
    days = [STARTS_ON + timedelta(days=n) for n in range(7 * n_weeks)]
    people = tuple(_person(rng, number, days) for number in range(n_people))
    return Problem(
        starts_on=STARTS_ON,
        n_days=len(days),
        zone="America/Denver",
        kinds=KINDS,
        contracts=(_contract("full", 40, n_weeks), _contract("part", 24, n_weeks)),
        people=people,
        demand=tuple(_demand(n_people, days)),
        wishes=tuple(_wishes(rng, people, days)),
        crews=tuple(_crews(people)),
        fairness=(
            Fairness("nights", 2.0, kinds=("night",)),
            Fairness("weekends", 2.0, is_weekend=True),
        ),
    )


def _contract(name: str, hours: int, n_weeks: int) -> Contract:
    return Contract(
        name,
        (
            Rule("overtime", Measure.MINUTES, most=hours * 60 + 150, price=0.05, is_weekly=True),
            Rule("least", Measure.MINUTES, least=n_weeks * (hours - 8) * 60, price=0.02),
            Rule("most", Measure.MINUTES, most=(hours + 14) * 60, is_weekly=True),
            Rule("days", Measure.DAYS_IN_A_ROW, most=6),
            Rule("single_days", Measure.DAYS_IN_A_ROW, least=2, price=3),
            Rule("single_off", Measure.DAYS_OFF_IN_A_ROW, least=2, price=3),
            Rule("nights", Measure.DAYS_IN_A_ROW, least=2, most=4, price=6, kinds=("night",)),
            Rule("weekends_worked", Measure.WEEKENDS, most=max(1, (3 * n_weeks + 3) // 4), price=8),
            Rule("split", Measure.SPLIT_WEEKENDS, most=0, price=2),
            Rule("rest", Measure.REST_MIN, least=11 * 60),
        ),
    )


def _person(rng: np.random.Generator, number: int, days: list[date]) -> Person:
    skills = []
    for skill, share in SHARE_OF_SKILL.items():
        if rng.random() < share:
            lapses = rng.random() < 0.05
            until = days[int(rng.integers(len(days)))] if lapses else None
            skills.append(SkillHeld(skill, until))
    away: tuple[date, ...] = ()
    if rng.random() < 0.12:
        first = int(rng.integers(len(days)))
        away = tuple(days[first : first + int(rng.integers(1, 6))])
    n_on = int(rng.integers(0, 5))
    kind = str(rng.choice(["early", "late", "night"]))
    return Person(
        f"w{number:03}",
        "full" if rng.random() < 0.8 else "part",
        skills=tuple(skills),
        away_on=away,
        before=("", *[kind] * n_on) if n_on else ("early", "", ""),
        carried={"nights": int(rng.integers(0, 9)), "weekends": int(rng.integers(0, 9))},
    )


def _demand(n_people: int, days: list[date]) -> Iterator[Demand]:
    for on, kind in product(days, KINDS):
        share = SHARE_OF_SHIFT[kind.id] * (0.85 if on.isoweekday() >= 6 else 1.0)
        heads = max(1, round(share * n_people))
        yield Demand(on, kind.id, None, max(1, heads // 2), heads, None, 20.0, 4.0)
        for skill, needed in SHARE_NEEDED.items():
            n = max(1, round(needed * heads))
            yield Demand(on, kind.id, skill, 0, n, None, 30.0)


def _wishes(
    rng: np.random.Generator, people: tuple[Person, ...], days: list[date]
) -> Iterator[Wish]:
    for person, on in product(people, days):
        if rng.random() < 0.08:
            kind = str(rng.choice(["early", "late", "night"])) if rng.random() < 0.5 else None
            price = float(rng.integers(1, 6))
            yield Wish(person.id, on, price, kind, is_off=bool(rng.random() < 0.7))


def _crews(people: tuple[Person, ...]) -> Iterator[Crew]:
    for start in range(0, len(people) - 3, 16):
        members = tuple(person.id for person in people[start : start + 4])
        yield Crew(f"crew{start}", members, apart_price=1.0, leads=members[:2], lead_price=2.0)

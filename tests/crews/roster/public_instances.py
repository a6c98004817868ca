"""Published nurse rosters in our own form; `fixtures/published/roster/README.md` names sources."""

from collections import defaultdict
from datetime import date, time, timedelta
from pathlib import Path

from config.rooms import BASE_DIR
from crews.roster.calc.problem import (
    Contract,
    Demand,
    Measure,
    Person,
    Problem,
    Rule,
    ShiftKind,
    Wish,
)

FOLDER = BASE_DIR / "fixtures" / "published" / "roster"
MONDAY = date(2026, 6, 1)
# The text gives no clock times and its rules need none: all shifts start at the same one.
STARTS_LOCAL = time(6)

# Best known values; from memory of the benchmark's public table.
BEST_KNOWN = {1: 607, 4: 1716, 6: 1950, 8: 1300}


def shift_scheduling_instance(number: int) -> Problem:
    """Read one of the 24 shift-scheduling instances of Curtois and Qu that we carry."""
    return read_shift_scheduling(FOLDER / f"instance{number}.txt")


def read_shift_scheduling(path: Path) -> Problem:
    rows = _sections(path.read_text())
    kinds = [
        (row[0], int(row[1]), tuple(k for k in row[2].split("|") if k)) for row in rows["SHIFTS"]
    ]
    away = {row[0]: [_on(day) for day in row[1:]] for row in rows["DAYS_OFF"]}
    return Problem(
        starts_on=MONDAY,
        n_days=int(rows["HORIZON"][0][0]),
        zone="UTC",
        kinds=tuple(ShiftKind(id_, STARTS_LOCAL, length, after) for id_, length, after in kinds),
        contracts=tuple(_contract(row) for row in rows["STAFF"]),
        people=tuple(Person(row[0], row[0], away_on=tuple(away[row[0]])) for row in rows["STAFF"]),
        demand=tuple(
            Demand(_on(day), kind, target=int(n), price_under=float(under), price_over=float(over))
            for day, kind, n, under, over in rows["COVER"]
        ),
        wishes=tuple(
            Wish(person, _on(day), float(price), kind, is_off=is_off)
            for name, is_off in (("SHIFT_ON_REQUESTS", False), ("SHIFT_OFF_REQUESTS", True))
            for person, day, kind, price in rows[name]
        ),
    )


def _sections(text: str) -> dict[str, list[list[str]]]:
    rows: dict[str, list[list[str]]] = defaultdict(list)
    section = ""
    for line in text.splitlines():
        if line.startswith("SECTION_"):
            section = line.strip().removeprefix("SECTION_")
        elif line.strip() and not line.startswith("#"):
            rows[section].append(line.strip().split(","))
    return rows


def _on(day: str) -> date:
    return MONDAY + timedelta(days=int(day))


def _contract(row: list[str]) -> Contract:
    person, shifts, most_min, least_min, most_days, least_days, least_off, most_weekends = row
    most_of = dict(part.split("=") for part in shifts.split("|"))
    return Contract(
        person,
        (
            *(
                Rule(f"most_{kind}", Measure.SHIFTS, most=int(n), kinds=(kind,))
                for kind, n in most_of.items()
            ),
            Rule("minutes", Measure.MINUTES, int(least_min), int(most_min)),
            Rule("days", Measure.DAYS_IN_A_ROW, int(least_days), int(most_days)),
            Rule("off", Measure.DAYS_OFF_IN_A_ROW, int(least_off)),
            Rule("weekends", Measure.WEEKENDS, most=int(most_weekends)),
        ),
    )

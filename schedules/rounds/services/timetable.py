"""Brings the rows of milkings, visits and windows to what calc timed, and says what moved.

Called inside a transaction and under the parlor's lock.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Generic, TypeVar

from django.db.models import Model

from equipment.site.writes import SiteWrite
from schedules.rounds import calc
from schedules.rounds.clock import MOMENTS, ParlorSetup
from schedules.rounds.models import BedWindow, Milking, PenVisit

MOVED_BY = timedelta(seconds=1)  # less is rounding, and no reason to plan anew
VISIT_TIMES = [f"{moment}_at" for moment in MOMENTS]

MilkingKey = tuple[date, int]  # local date, slot
VisitKey = tuple[MilkingKey, int]  # and pen
WindowKey = tuple[VisitKey, int]  # and bed group
Values = Mapping[str, Any]

K = TypeVar("K")
M = TypeVar("M", bound=Model)


@dataclass(frozen=True, slots=True)
class TimetableCounts:
    """How many rows a planning or a re-timing made, moved and took out."""

    n_milkings_made: int = 0
    n_milkings_removed: int = 0
    n_visits_made: int = 0
    n_visits_moved: int = 0
    n_visits_removed: int = 0


def _put(row: Model, values: Values) -> tuple[bool, bool]:
    """Set values on a row; say whether any differs, and whether an instant really moved."""
    old = {name: getattr(row, name) for name in values}
    changed = {name: value for name, value in values.items() if value != old[name]}
    for name, value in changed.items():
        setattr(row, name, value)
    instants = [name for name, value in changed.items() if isinstance(value, datetime)]
    return bool(changed), any(abs(changed[name] - old[name]) > MOVED_BY for name in instants)


class Level(Generic[K, M]):
    """Rows of one model by their natural key, compared with what they should say."""

    def __init__(self, model: type[M], rows: dict[K, M], wanted: Mapping[K, Values]) -> None:
        self.model, self.rows, self.wanted = model, rows, wanted
        self.made = [key for key in wanted if key not in rows]
        self.gone = [key for key in rows if key not in wanted]
        put = {key: _put(row, wanted[key]) for key, row in rows.items() if key in wanted}
        self.changed = [rows[key] for key, (differs, _moved) in put.items() if differs]
        self.moved = [key for key, (_differs, moved) in put.items() if moved]

    def save(self, build: Callable[[K, Values], M]) -> None:
        """Write what differs; afterwards `rows` is what the database holds."""
        manager = self.model._default_manager
        manager.filter(pk__in=[self.rows.pop(key).pk for key in self.gone]).delete()
        made = manager.bulk_create([build(key, self.wanted[key]) for key in self.made])
        self.rows |= zip(self.made, made, strict=True)
        if self.changed:
            # An upsert by key: an update of thousands of rows row by row takes ten times as long.
            names = list(next(iter(self.wanted.values())))
            manager.bulk_create(
                self.changed, update_conflicts=True, unique_fields=["id"], update_fields=names
            )


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the rows should say, by natural key."""

    milkings: dict[MilkingKey, Values]
    visits: dict[VisitKey, Values]
    windows: dict[WindowKey, Values]


def _wanted(setup: ParlorSetup, clocks: Mapping[MilkingKey, calc.ClockDay]) -> Wanted:
    wanted = Wanted({}, {}, {})
    for key, clock in clocks.items():
        [timed] = clock.milkings
        wanted.milkings[key] = {
            name: getattr(timed, name) for name in ("starts_at", "ends_at", "wash_until")
        }
        warnings = _warnings(clock, setup.parlor.away_limit_min)
        for position, visit in enumerate(timed.visits):
            visit_key = (key, int(visit.pen.key))
            wanted.visits[visit_key] = {
                **_visit_values(visit),
                "position": position,
                "warnings": warnings[visit.pen.key],
            }
            for bed in visit.beds:
                wanted.windows[visit_key, int(bed.bed_group.key)] = _window_values(bed)
    return wanted


def _visit_values(visit: calc.Visit) -> dict[str, Any]:
    return {
        "n_cows": visit.pen.n_cows,
        "cost_cow_h": visit.cost.cow_h,
        **{name: getattr(visit.times, name) for name in VISIT_TIMES},
    }


def _window_values(bed: calc.BedWindow) -> Values:
    return {
        "opens_at": bed.opens_at,
        "closes_at": bed.closes_at,
        "usable_from": bed.usable.start_at,
        "usable_until": bed.usable.end_at,
    }


def _warnings(clock: calc.ClockDay, away_limit_min: float) -> dict[str | None, list[Values]]:
    """Codes and numbers of each pen's visit; a row of beds is named by its place."""
    found: dict[str | None, list[Values]] = defaultdict(list)
    for warning in calc.find_warnings(clock, away_limit_min=away_limit_min):
        row = warning.bed_group_key
        found[warning.pen_key].append(
            {
                "code": warning.code.value,
                "value_min": round(warning.value_min, 1),
                "limit_min": round(warning.limit_min, 1),
                **({"bed_group": int(row)} if row else {}),
            }
        )
    return found


def write_timetable(
    write: SiteWrite,
    setup: ParlorSetup,
    rows: Iterable[Milking],
    clocks: Mapping[MilkingKey, calc.ClockDay],
) -> TimetableCounts:
    """Bring rows to what was timed; rows that were not timed are taken out.

    Tells of each milking that came, went or has other pens (`milking.planned`), and of each
    visit that stays and whose times or windows moved (`visit.retimed`).
    """
    wanted = _wanted(setup, clocks)
    by_key = {(row.local_date, row.slot): row for row in rows}
    visits = {(k, v.pen_id): v for k, row in by_key.items() for v in row.visits.all()}
    windows = {(k, w.bed_group_id): w for k, v in visits.items() for w in v.windows.all()}
    levels = (
        Level(Milking, by_key, wanted.milkings),
        Level(PenVisit, visits, wanted.visits),
        Level(BedWindow, windows, wanted.windows),
    )
    gone_milkings = [by_key[key].pk for key in levels[0].gone]
    _save(setup, *levels)
    return _tell(write, gone_milkings, *levels)


def _save(
    setup: ParlorSetup,
    milkings: Level[MilkingKey, Milking],
    visits: Level[VisitKey, PenVisit],
    windows: Level[WindowKey, BedWindow],
) -> None:
    site_id = setup.parlor.site_id
    milkings.save(
        lambda key, values: Milking(
            site_id=site_id, parlor=setup.parlor, local_date=key[0], slot=key[1], **values
        )
    )
    visits.save(
        lambda key, values: PenVisit(
            site_id=site_id, milking=milkings.rows[key[0]], pen_id=key[1], **values
        )
    )
    windows.save(
        lambda key, values: BedWindow(
            site_id=site_id, visit=visits.rows[key[0]], bed_group_id=key[1], **values
        )
    )


def _tell(
    write: SiteWrite,
    gone_milkings: list[int],
    milkings: Level[MilkingKey, Milking],
    visits: Level[VisitKey, PenVisit],
    windows: Level[WindowKey, BedWindow],
) -> TimetableCounts:
    for milking_id in gone_milkings:
        write.change("milking.planned", milking_id, removed=True)
    for key in sorted({*milkings.made, *(visit_key[0] for visit_key in visits.made + visits.gone)}):
        if key in milkings.rows:
            write.change("milking.planned", milkings.rows[key].pk)
    edited = {visit_key for visit_key, _group in windows.moved + windows.made + windows.gone}
    moved = (edited | set(visits.moved)) & (visits.rows.keys() - set(visits.made))
    for visit_key in sorted(moved):
        write.change("visit.retimed", visits.rows[visit_key].pk)
    if milkings.changed or visits.changed or windows.changed:
        write.touch()
    return TimetableCounts(
        n_milkings_made=len(milkings.made),
        n_milkings_removed=len(gone_milkings),
        n_visits_made=len(visits.made),
        n_visits_moved=len(moved),
        n_visits_removed=len(visits.gone),
    )

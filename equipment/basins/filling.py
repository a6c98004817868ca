"""How the basins fill in the months ahead, when gates switch and when to clean out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from math import isinf

import numpy as np

from equipment.site.calc.local_time import local_date_of
from equipment.site.models import Site
from equipment.weather.calc.members import ClimateHistory, NoPastWindowError, resample_years
from equipment.weather.queries import recorded_days

from .calc.hauling import CleanOut, Window, haul_h, n_loads, plan_clean_out, windows_ahead
from .calc.manure import DailyInflow
from .calc.project import BasinNow, days_to_line, project_basins
from .calc.storage import Floats, StageStorage
from .models import (
    Basin,
    BasinPractice,
    BasinStage,
    CropField,
    FieldWindow,
    HaulTruck,
    LevelReading,
)
from .queries import filling_ids, inflow_of, latest_levels, practice_of, storage_of

HORIZON_D = 180
OLDEST_D = 120  # an older reading is no ground to project from
QUANTILES = (0.1, 0.5, 0.9)


@dataclass(frozen=True, slots=True)
class Hauling:
    """What emptying one basin from its line takes."""

    volume_m3: float
    n_loads: int
    hours: float
    distance_km: float
    plan: CleanOut | None


@dataclass(frozen=True, slots=True, eq=False)
class BasinView:
    """One basin as it stands and as it is expected to fill.

    `fan_m` holds depths of the evenings from today on, shape (3, n_days): in 1, 5 and 9 of 10 runs
    the basin stands no higher. Days are of the earliest, the middle and the latest tenth, infinite
    beyond the horizon; `days_storm_d` keep the design storm's rain free, None without a storm.
    """

    basin: Basin
    storage: StageStorage
    reading: LevelReading | None
    is_filling: bool
    n_members: int = 0
    fan_m: Floats | None = None
    days_d: tuple[float, ...] = ()
    days_storm_d: tuple[float, ...] | None = None
    overflow_frac: float = 0.0
    hauling: Hauling | None = None

    @property
    def line_m3(self) -> float:
        """Volume at the mark to act at."""
        return float(self.storage.volume_at_m3(self.basin.must_act_depth_m))

    @property
    def early_d(self) -> float:
        """Days to the line in the earliest tenth, the storm kept free where there is one."""
        days = self.days_storm_d or self.days_d
        return days[0] if days else float("inf")

    def line_on(self, today: date) -> date | None:
        """Give the day on which the earliest tenth reaches the line; None beyond the horizon."""
        return None if isinf(self.early_d) else today + timedelta(days=self.early_d - 1)

    @property
    def clean_d(self) -> int | None:
        """Working days of a clean-out, where one is planned."""
        return self.hauling.plan.n_days if self.hauling and self.hauling.plan else None

    @property
    def passes_while_cleaned(self) -> bool:
        """Whether the line comes before a clean-out that begins now would be done."""
        return self.clean_d is not None and self.early_d <= self.clean_d


@dataclass(frozen=True, slots=True)
class BasinsView:
    """All basins, what flows to them, and the figures that this rests on."""

    basins: list[BasinView]
    inflow: DailyInflow
    practice: BasinPractice
    today: date
    n_past_days: int

    def next_of(self, view: BasinView) -> BasinView | None:
        """The emptiest other basin of a pair, to switch the gate to."""
        others = [
            other
            for other in self.basins
            if view.basin.pair
            and other.basin.pair == view.basin.pair
            and other.reading is not None
            and not other.is_filling
        ]
        return min(others, key=_contents_m3, default=None)


def _contents_m3(view: BasinView) -> float:
    depth_m = view.reading.depth_m if view.reading else 0.0
    return float(view.storage.volume_at_m3(min(depth_m, view.basin.depth_m)))


def basins_view(site_id: int, now: datetime) -> BasinsView:
    """Project every basin in use from its last reading: about 12 queries, however many basins."""
    site = Site.objects.get(pk=site_id)
    practice = practice_of(site_id)
    basins = list(
        Basin.objects.filter(site_id=site_id, place__retired_at=None)
        .select_related("place")
        .order_by("stage", "pk")
    )
    readings, filling = latest_levels(site_id, now), filling_ids(basins, site_id, now)
    views = [
        BasinView(basin, storage_of(basin), readings.get(basin.pk), basin.pk in filling)
        for basin in basins
    ]
    inflow = inflow_of(site_id, now, practice)
    farm = _Farm(site, local_date_of(now, site.zone), practice, inflow, _history(site_id, now))
    fleet = _fleet(farm)
    return BasinsView(
        [_hauled(farm, fleet, view) for view in _projected(farm, views)],
        inflow,
        practice,
        farm.today,
        farm.history.day.size if farm.history else 0,
    )


@dataclass(frozen=True, slots=True)
class _Farm:
    site: Site
    today: date
    practice: BasinPractice
    inflow: DailyInflow
    history: ClimateHistory | None


def _history(site_id: int, now: datetime) -> ClimateHistory | None:
    days = list(recorded_days(site_id, now.date() + timedelta(days=1)))
    if not days:
        return None
    return ClimateHistory(
        np.array([day.on for day in days], dtype="datetime64[D]"),
        np.array([day.et0_mm for day in days], dtype=np.float64),
        np.array([day.rain_mm for day in days], dtype=np.float64),
    )


def _projected(farm: _Farm, views: Sequence[BasinView]) -> list[BasinView]:
    """Begin at each day on which some basin was last read, and keep those basins' own runs."""
    known = [view for view in views if view.reading is not None]
    states = [_now_of(view, known) for view in known]
    done: dict[int, BasinView] = {}
    for begin_on in sorted({_read_on(farm, view) for view in known}):
        weather = _weather(farm, begin_on)
        if weather is None or not 0 <= (farm.today - begin_on).days <= OLDEST_D:
            continue
        run = project_basins(states, farm.inflow, *weather)
        for index, view in enumerate(known):
            if _read_on(farm, view) == begin_on:
                skip = (farm.today - begin_on).days
                done[view.basin.pk] = _with_run(
                    farm, view, run.volume_m3[:, skip:, index], run.overflow_m3[:, skip:, index]
                )
    return [done.get(view.basin.pk, view) for view in views]


def _read_on(farm: _Farm, view: BasinView) -> date:
    assert view.reading is not None
    return local_date_of(view.reading.read_at, farm.site.zone)


def _now_of(view: BasinView, known: Sequence[BasinView]) -> BasinNow:
    """Say how a basin stands; those of a stage that fill share its inflow evenly."""
    is_second = view.basin.stage == BasinStage.SECOND
    sharing = [v for v in known if v.basin.stage == view.basin.stage and v.is_filling]
    return BasinNow(
        storage=view.storage,
        contents_m3=_contents_m3(view),
        sludge_m3=float(view.storage.volume_at_m3(view.basin.sludge_m)),
        weep_frac=view.basin.weep_frac_d,
        open_frac=view.basin.open_frac,
        gets_frac=1 / len(sharing) if view.is_filling else 0.0,
        is_second=is_second,
    )


def _weather(farm: _Farm, begin_on: date) -> tuple[Floats, Floats] | None:
    """Join the days recorded since a reading to members of the days ahead: rain, ET0 [mm]."""
    if farm.history is None:
        return None
    rain_mm, et0_mm = _recorded_run(farm.history, begin_on)
    start_on = begin_on + timedelta(days=rain_mm.size)
    horizon_d = HORIZON_D + (farm.today - start_on).days
    rng = np.random.default_rng([farm.site.pk, start_on.toordinal()])
    try:
        members = resample_years(farm.history, start_on, horizon_d, rng)
    except NoPastWindowError:
        return None
    n = members.n_members
    return (
        np.hstack([np.tile(rain_mm, (n, 1)), members.rain_mm]),
        np.hstack([np.tile(et0_mm, (n, 1)), members.et0_mm]),
    )


def _recorded_run(history: ClimateHistory, begin_on: date) -> tuple[Floats, Floats]:
    """Give the unbroken recorded days from a day on."""
    wanted = np.datetime64(begin_on, "D") + np.arange(history.day.size)
    first = int(np.searchsorted(history.day, wanted[0]))
    n = int(np.cumprod(history.day[first:] == wanted[: history.day.size - first]).sum())
    part = slice(first, first + n)
    return history.rain_mm[part], history.et0_mm[part]


def _with_run(farm: _Farm, view: BasinView, volume_m3: Floats, overflow_m3: Floats) -> BasinView:
    storm_m3 = None
    if farm.practice.storm_mm is not None:
        storm_m3 = farm.practice.storm_mm / 1000 * view.storage.rim_m2
    return BasinView(
        basin=view.basin,
        storage=view.storage,
        reading=view.reading,
        is_filling=view.is_filling,
        n_members=int(volume_m3.shape[0]),
        fan_m=np.quantile(view.storage.depth_at_m(volume_m3), QUANTILES, axis=0),
        days_d=_three(days_to_line(volume_m3, view.line_m3)),
        days_storm_d=None
        if storm_m3 is None
        else _three(days_to_line(volume_m3, view.line_m3 - storm_m3)),
        overflow_frac=float((overflow_m3 > 0).any(axis=1).mean()),
    )


def _three(days: Floats) -> tuple[float, ...]:
    """Quantiles that are days of some run: infinite ones allow no interpolation."""
    return tuple(float(q) for q in np.quantile(days, QUANTILES, method="inverted_cdf"))


@dataclass(frozen=True, slots=True)
class _Fleet:
    trucks: Sequence[HaulTruck]
    distance_km: float
    windows: tuple[Window, ...]

    def loads(self, volume_m3: float) -> int:
        """Count loads of the fleet's mean truck, by who makes how many trips."""
        trips_h = sum(kind.n_trucks * kind.loads_h for kind in self.trucks)
        carried_m3 = sum(k.n_trucks * k.loads_h * k.tank_m3 * k.fill_frac for k in self.trucks)
        return n_loads(volume_m3, tank_m3=carried_m3 / trips_h)

    def hours(self, loads: int, practice: BasinPractice) -> float:
        n_trucks = sum(kind.n_trucks for kind in self.trucks)
        return haul_h(
            loads,
            n_trucks=n_trucks,
            loads_h=sum(kind.n_trucks * kind.loads_h for kind in self.trucks) / n_trucks,
            distance_km=self.distance_km,
            n_loaders=practice.n_loaders,
            loader_loads_h=practice.loader_loads_h,
        )


def _fleet(farm: _Farm) -> _Fleet | None:
    """Give trucks, the mean way to fields and their windows; None where the farm names none."""
    trucks = list(HaulTruck.objects.filter(site=farm.site, retired_at=None))
    fields = list(CropField.objects.filter(site=farm.site, retired_at=None))
    if not trucks or not fields:
        return None
    rules = FieldWindow.objects.filter(
        site=farm.site, retired_at=None, field__retired_at=None
    ).values_list("first_md", "last_md")
    distance_km = sum(f.distance_km * f.area_ha for f in fields) / sum(f.area_ha for f in fields)
    return _Fleet(trucks, distance_km, windows_ahead(list(rules), farm.today, HORIZON_D))


def _hauled(farm: _Farm, fleet: _Fleet | None, view: BasinView) -> BasinView:
    """Add what emptying the basin from its line, or from where it is above it, takes."""
    if fleet is None or view.reading is None:
        return view
    sludge_m3 = float(view.storage.volume_at_m3(view.basin.sludge_m))
    volume_m3 = max(max(view.line_m3, _contents_m3(view)) - sludge_m3, 0.0)
    loads = fleet.loads(volume_m3)
    hours = fleet.hours(loads, farm.practice)
    plan = None
    line_on = view.line_on(farm.today)
    if line_on is not None:
        plan = plan_clean_out(
            hours=hours,
            hours_per_d=farm.practice.haul_h_d,
            line_on=line_on,
            today=farm.today,
            windows=fleet.windows,
        )
    return replace(view, hauling=Hauling(volume_m3, loads, hours, fleet.distance_km, plan))

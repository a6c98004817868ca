"""What the farm file accepts, no formula refuses: drawn over all that its limits let through."""

import copy
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from math import isfinite, nextafter
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from django.db import transaction
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from equipment.flushing.queries import tank_plans
from equipment.machines.models import Machine
from equipment.machines.queries import machine_views
from equipment.machines.services import add_reading
from equipment.sandyard.calc import cone, windrow, windrow_length_m
from equipment.sandyard.models import Lane, SandPractice
from equipment.site.farmfields import Field, Kind, Values
from equipment.site.models import Site
from equipment.site.services import service_actor
from equipment.weather.calc.members import WeatherMembers
from schedules.dayplan.build import build_day
from schedules.farmfile.document import read_text
from schedules.farmfile.entries import FarmReader
from schedules.farmfile.faults import BrokenFileError
from schedules.farmfile.registry import all_sections
from schedules.farmfile.services import load_site
from schedules.rounds.queries import view_day, warnings_of
from schedules.rounds.services import plan_milkings
from schedules.sand.calc.dates import PileRule, ready_dates
from schedules.sand.calc.drying import DryTarget
from schedules.sand.calc.forecast import forecast_dry
from schedules.sand.calc.layer import drained_moisture_wb_frac
from schedules.sand.calc.pad import MoistureTest, PadWeather, SpreadBatch
from schedules.sand.calc.supply import bucket_dry_kg, steady_balance
from schedules.sand.services import scoop
from schedules.sand.yard import layer_of
from schedules.work.produce import materialise

SECTIONS = all_sections()
SMALL: dict[str, Any] = yaml.safe_load((Path(__file__).parent / "small.yaml").read_text())
AT = datetime(2026, 11, 25, 15, tzinfo=UTC)
SPREAD_ON = date(2026, 6, 1)
FREE = 1e6  # for what the file sets no upper limit to


def values_of(f: Field) -> st.SearchStrategy[Any]:
    """All that a number's limits let through, its ends above all."""
    high = FREE if f.high is None else f.high
    if f.kind is Kind.WHOLE:
        return st.integers(int(f.low or 0), int(high))
    low = nextafter(f.above, high) if f.above is not None else f.low
    low = -FREE if low is None else low
    return st.sampled_from([low, high]) | st.floats(low, high)


def entries_of(name: str, *leave: str) -> st.SearchStrategy[Values]:
    fields = [f for f in SECTIONS[name].fields if not f.is_list]
    numbers = [f for f in fields if f.kind in (Kind.WHOLE, Kind.NUMBER)]
    return st.fixed_dictionaries({f.name: values_of(f) for f in numbers if f.name not in leave})


def accepted(document: Mapping[str, Any]) -> dict[str, dict[str, Values]] | None:
    """What the farm file's own reader makes of a document; None where it refuses."""
    reader = FarmReader(SECTIONS)
    reader.add(read_text(yaml.safe_dump(dict(document)).encode(), "drawn.yaml"), is_overlay=False)
    try:
        return reader.read_all()
    except BrokenFileError:
        return None


def weather(rng: np.random.Generator) -> PadWeather:
    """Three days known, twelve to come, some of them wet."""
    start_on = SPREAD_ON + timedelta(days=3)
    et0_mm, rain_mm = rng.uniform(0, 9, (3, 12)), rng.choice([0.0, 40.0], (3, 12))
    source_day = np.array(["2020-06-04", "2021-06-04", "2022-06-04"], dtype="datetime64[D]")
    members = WeatherMembers(start_on, et0_mm, rain_mm, source_day)
    return PadWeather(np.array([5.0, 0.0, 7.0]), np.array([0.0, 12.0, 0.0]), members, 38.6)


def spread_batch(practice: SandPractice) -> SpreadBatch:
    layer = layer_of(practice)
    return SpreadBatch(
        layer=layer,
        target=DryTarget(practice.dry_moisture_wb_frac, practice.dry_hold_d),
        spread_on=SPREAD_ON,
        moisture_wb_frac=drained_moisture_wb_frac(
            layer, practice.scooped_moisture_wb_frac, practice.drain_h
        ),
        past_turns=(0, 1, 2),
        planned_turns_d=round(practice.turns_per_d),
        turned_depth_m=practice.turned_depth_m,
    )


@given(drawn=entries_of("sand_practice"))
@example(drawn={})
@example(drawn={"field_capacity_frac": 0.379, "wilting_point_frac": 0.378})
@example(drawn={"field_capacity_frac": 0.01, "wilting_point_frac": 0})
def test_any_accepted_sand_setting_dries_and_piles(drawn: Values) -> None:
    read = accepted({"site": SMALL["site"], "sand_practice": drawn})
    assume(read is not None)
    assert read is not None
    practice = SandPractice(**read["sand_practice"]["sand_practice"])
    rng = np.random.default_rng(1)
    tests = (MoistureTest(SPREAD_ON + timedelta(days=1), 0.06, 3, 0.1),)

    forecast = forecast_dry(spread_batch(practice), weather(rng), tests, rng, n_each=3)

    assert np.abs(forecast.run.imbalance_mm).max() < 1e-6
    assert np.all((forecast.moisture_wb_frac >= 0) & (forecast.moisture_wb_frac < 1))
    ready_dates(forecast.dry, PileRule(practice.pile_close_d, practice.cure_d)).quantile(0.5)
    pile = windrow(30, 8, practice.repose_deg)
    assert 0 < cone(8, practice.repose_deg).volume_m3 < pile.volume_m3
    assert windrow_length_m(pile.volume_m3, 8, practice.repose_deg) == pytest.approx(30)
    balance = steady_balance(3720, practice.use_kg_stall_d, practice.recovery_frac)
    assert balance.make_up_kg_d >= 0
    load = bucket_dry_kg(
        4, bucket_m3=3, fill_frac=0.95, moisture_wb_frac=practice.scooped_moisture_wb_frac
    )
    assert load.dry_kg > 0


@pytest.mark.parametrize("capacity_frac", [0.38, 0.4, 0.5, 0.04, 0.03])
def test_a_field_capacity_that_no_sand_has_is_refused(capacity_frac: float) -> None:
    assert (
        accepted({"site": SMALL["site"], "sand_practice": {"field_capacity_frac": capacity_frac}})
        is None
    )


DRAWN = {
    "weather_stations": (),
    "places": (),
    "parlors": ("n_sides", "second_turn_frac"),
    "pens": ("milking_rank", "return_hold_min"),
    "alleys": (),
    "bed_groups": (),
    "tanks": ("reserve_m3",),  # below the volume
    "flush_timers": (),
    "lanes": (),
    "slabs": (),
    "bays": ("capacity_kg",),
    "pile_places": (),
    "basins": ("must_act_depth_m", "side_slope", "ramp_slope", "depth_volume", "sludge_m"),
    "rotations": (),
    "machines": ("salvage",),  # not above the price
    "service_items": ("every_d",),
}


@st.composite
def farms(draw: st.DrawFn) -> dict[str, Any]:
    """The small farm with other numbers in every section, as large or small as may be."""
    farm = copy.deepcopy(SMALL)
    farm["site"] |= draw(entries_of("site", "clock_h"))
    for name, leave in DRAWN.items():
        for entry in farm[name]:
            numbers = draw(entries_of(name, *leave))
            entry |= {key: value for key, value in numbers.items() if _goes(name, entry, key)}
    for bay in farm["bays"]:
        bay["capacity_kg"] = bay["area_m2"] * 400  # a layer of 0.25 m and 1600 kg/m3
    for basin in farm["basins"]:
        basin["must_act_depth_m"] = basin["depth_m"]
        basin["sludge_m"] = min(0.1, basin["depth_m"] / 2)
    return farm


def _goes(name: str, entry: Values, key: str) -> bool:
    """An item by the calendar alone has no hours."""
    return name != "service_items" or key not in ("every_h", "first_at_h") or "every_h" in entry


@pytest.mark.django_db
@settings(max_examples=12)
@given(farm=farms())
def test_any_accepted_farm_runs_its_day(farm: dict[str, Any]) -> None:
    with transaction.atomic():
        document = read_text(yaml.safe_dump(farm).encode(), "drawn.yaml")
        load_site(document=document, at=AT)
        run_day(Site.objects.get(slug="small"))
        transaction.set_rollback(True)


def run_day(site: Site) -> None:
    """Time, flush, meter, scoop, make work, and lay the plan's problem out."""
    day = AT.date()
    plan_milkings(site_id=site.pk, from_on=day, until_on=day + timedelta(days=2), at=AT)
    warnings_of(view_day(site.pk, day))
    for plan in tank_plans(site.pk, AT, AT + timedelta(days=1)):
        assert isfinite(plan.day.end_m3)
    by = service_actor(site.pk)
    loader = Machine.objects.get(site=site, key="loader-1")
    for back, meter_h in ((40, 10.0), (1, 200.0)):
        read_at = AT - timedelta(days=back)
        said: Values = {"meter_h": meter_h, "read_at": read_at, "by": by, "reason": "seen twice"}
        add_reading(site_id=site.pk, machine_id=loader.pk, now=AT, **said)
    assert len(machine_views(site.pk)) == 1
    lane = Lane.objects.get(site=site)
    scoop(site_id=site.pk, lane_id=lane.pk, buckets=1, machine_id=loader.pk, by=by, at=AT)
    materialise(site_id=site.pk, now=AT, days=2)
    problem = build_day(site.pk, AT).problem
    assert replace(problem) == problem

"""The supply read from the farm: what arrives when, what is used, bought and needed."""

from datetime import date, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from equipment.barns.models import Pen
from equipment.sandyard.models import SandPractice
from equipment.site.models import HoldSubject, Place, PlaceKind, Site
from equipment.site.services import put_hold
from schedules.outlook.models import OutlookPractice
from schedules.outlook.supply import SandSupply, sand_supply
from schedules.outlook.supply_facts import ResidenceSource
from schedules.sand.models import Batch, BatchStep, DryForecast, Stage
from schedules.sand.services import bed_pens
from tests.factories import (
    make_actor,
    make_batch,
    make_bay,
    make_bed_group,
    make_pen,
    make_pile_place,
    make_site,
    utc,
)
from tests.farm import Farm, ask

pytestmark = pytest.mark.django_db

NOW = utc("2026-03-04 16:00")  # 9:00 am in Denver
DAY = timedelta(days=1)
T = 1000.0


@pytest.fixture
def site() -> Site:
    """100 stalls at 10 kg are a tonne a day, known to the kilogram; cured after 10 days."""
    site = make_site()
    practice: dict[str, Any] = {"use_kg_stall_d": 10, "recovery_frac": 0.8, "recovery_sd_frac": 0}
    practice |= {"cure_d": 10, "pile_close_d": 2, "drain_h": 24, "dry_hold_d": 1}
    SandPractice.objects.create(site=site, **practice)
    OutlookPractice.objects.create(site=site, use_sd_frac=0, screening_loss_frac=0.1)
    make_bed_group(make_pen(site), n_stalls=100)
    return site


def told(site: Site) -> SandSupply:
    return sand_supply(site, NOW)


def stock_t(supply: SandSupply) -> list[float]:
    return [round(kg / T, 3) for kg in supply.ahead.bands_kg[1]]


def forecast(batch: Batch, *dots: str) -> None:
    DryForecast.objects.create(
        site=batch.site,
        batch=batch,
        made_at=NOW,
        n_members=20,
        dots=list(dots),
        et0_method="given",
    )


def test_released_sand_is_used_and_what_is_cured_or_cures_arrives_on_its_day(site: Site) -> None:
    make_batch(site, Stage.RELEASED, at=NOW - DAY, dry_kg=5 * T)
    make_batch(site, Stage.CURED, at=NOW - DAY, dry_kg=2 * T, closed_at=NOW - DAY)
    ready_on = date(2026, 3, 7)
    make_batch(
        site, Stage.CURING, at=NOW - DAY, dry_kg=4 * T, closed_at=NOW - DAY, ready_on=ready_on
    )
    supply = told(site)

    # one tonne a day from 4 March on; 2 t at once, 4 t on the 7th: eleven days
    assert stock_t(supply)[:4] == [6, 5, 4, 7]
    assert (supply.days_d.low, supply.days_d.likely) == (11, 11)
    assert supply.day_on(supply.days_d.likely) == date(2026, 3, 15)


def test_an_open_pile_closes_on_its_last_day_and_then_cures(site: Site) -> None:
    make_batch(site, Stage.CURING, at=NOW - DAY, dry_kg=5 * T, cure_d=3)
    # begun on the 3rd, takes sand for 2 days, cures 3: ready on the 8th, day 4
    assert told(site).ahead.arrive_kg[0].nonzero()[0].tolist() == [4]


def test_a_drying_layer_arrives_by_its_forecast_less_the_screening_loss(site: Site) -> None:
    batch = make_batch(site, Stage.DRYING, at=NOW - DAY, dry_kg=10 * T, cure_d=4)
    forecast(batch, "2026-03-05", "2026-03-06")
    supply = told(site)
    # picked up the day after, its pile takes sand for 2 days and cures 4: ready on day 8 or 9
    arrive = supply.ahead.arrive_kg
    assert (arrive[:, 8] > 0).mean() == pytest.approx(0.5)
    assert (arrive[:, 9] > 0).mean() == pytest.approx(0.5)
    assert arrive.sum(axis=1) == pytest.approx(9 * T)
    # spread on the 3rd: it lies there for 3 or 4 days
    assert supply.residence.source is ResidenceSource.FORECASTS
    assert supply.residence.days_d.tolist() == [3, 4]


def test_a_layer_not_foreseen_dry_never_arrives_and_is_told(site: Site) -> None:
    forecast(make_batch(site, Stage.DRYING, at=NOW - DAY, dry_kg=10 * T), "")
    supply = told(site)
    assert supply.ahead.arrive_kg.sum() == 0
    assert supply.later_kg == pytest.approx(9 * T)


def test_without_layers_the_records_tell_how_long_one_lies(site: Site) -> None:
    batch = make_batch(site, Stage.DRYING, at=NOW - 9 * DAY, ended_at=NOW - 3 * DAY)
    for kind, days in (("spread", 9), ("picked_up", 3)):
        BatchStep.objects.create(
            site=site, batch=batch, kind=kind, at=NOW - days * DAY, by=make_actor(site, kind)
        )
    draining = make_batch(site, Stage.DRAINING, at=NOW, dry_kg=T, closed_at=NOW, cure_d=1)
    supply = told(site)
    assert (supply.residence.source, supply.residence.n) == (ResidenceSource.RECORDS, 1)
    assert supply.residence.days_d.tolist() == [6]
    # drained tomorrow, dry on day 6, picked up on day 7, closed on day 9, cured a day later
    assert supply.ahead.arrive_kg[0].nonzero()[0].tolist() == [10]
    assert draining.pk


def test_held_sand_is_left_out_and_told(site: Site) -> None:
    batch = make_batch(site, Stage.RELEASED, at=NOW - DAY, dry_kg=5 * T)
    hold: dict[str, Any] = {
        "subject_kind": HoldSubject.BATCH,
        "subject_id": batch.pk,
        "reason": "smells",
    }
    put_hold(site_id=site.pk, by=make_actor(site, "lead"), at=NOW, **hold)
    supply = told(site)
    assert (supply.ahead.opening_kg, supply.held_kg) == (0, 5 * T)


def test_the_steady_day_needs_its_bays_and_places(site: Site) -> None:
    forecast(make_batch(site, Stage.DRYING, at=NOW - DAY), "2026-03-07")
    for n in range(3):
        make_bay(site, f"bay-{n}", capacity_kg=400)
        make_pile_place(site, f"pile-{n}")
    supply = told(site)
    # 1000 kg in, 800 back, of which 80 screened out: 280 bought
    assert supply.use_kg_d.likely == pytest.approx(1000)
    assert supply.recovered_kg_d.likely == pytest.approx(720)
    assert supply.make_up_kg_d.likely == pytest.approx(280)
    # two loads of 400 kg a day, each lying from the 3rd to the 8th: L = λW = 2 × 5
    assert supply.bays is not None
    assert supply.bays.needed.likely == pytest.approx(10)
    assert supply.bays.n_there == 3
    # a pile each 2 days of 1 440 kg, which fills, cures 10 days and is bedded in 1.44
    assert supply.piles is not None
    assert supply.piles.needed.likely == pytest.approx((2 + 10 + 1.44) / 2)


def test_the_season_moves_use_and_the_lead_time_the_order(site: Site) -> None:
    season = [1.0] * 12
    season[2] = 2.0  # March
    own = {"season_frac": season, "buy_lead_d": 2, "truck_kg": 2.5 * T}
    OutlookPractice.objects.filter(site=site).update(**own)
    make_batch(site, Stage.RELEASED, at=NOW - DAY, dry_kg=9 * T)
    supply = told(site)
    assert supply.month_frac == 2
    assert supply.days_d.likely == 4  # 2 t a day: day 4 lacks 1 t
    assert supply.purchase is not None
    assert (supply.purchase.first_d, supply.purchase.order_d) == (4, 2)
    assert supply.purchase.n_trucks[:6].tolist() == [0, 0, 0, 0, 1, 1]
    assert (supply.purchase.below_frac, supply.purchase.below_unbought_frac) == (0, 1)


def test_the_horizon_is_when_sand_scooped_today_can_be_ready_at_the_earliest(site: Site) -> None:
    # drained after a day, dry evenings 1, picked up a day later, cured 10
    assert told(site).ahead.n_days == 1 + 1 + 1 + 10
    OutlookPractice.objects.filter(site=site).update(buy_lead_d=21)
    assert told(site).ahead.n_days == 28


def test_a_farm_without_stalls_batches_or_figures_has_its_answer() -> None:
    supply = sand_supply(make_site("bare"), NOW)
    assert (supply.days_d.likely, supply.ahead.opening_kg) == (float("inf"), 0)
    assert (supply.purchase, supply.bays, supply.piles) == (None, None, None)


def test_the_pen_that_waits_longest_is_served_first_from_the_oldest_released(site: Site) -> None:
    other = make_pen(site, "other")
    make_bed_group(other, n_stalls=100)
    older = make_batch(site, Stage.RELEASED, at=NOW - 9 * DAY, dry_kg=6 * T)
    younger = make_batch(site, Stage.RELEASED, at=NOW - 2 * DAY, dry_kg=7 * T)
    first = Pen.objects.filter(site=site).exclude(pk=other.pk).get()
    by = make_actor(site, "lead")
    for pen, days in ((first, 4), (other, 3)):
        who: dict[str, Any] = {"site_id": site.pk, "by": by, "at": NOW - days * DAY}
        bed_pens(batch_id=older.pk, pen_ids=[pen.pk], dry_kg=T / 2, **who)

    turns = told(site).pens

    # 100 stalls lose a tonne a day: 4 t and 3 t, of which the older batch still has 5
    assert [(turn.pen_id, turn.since_d, turn.lost_kg) for turn in turns] == [
        (first.pk, 4, 4 * T),
        (other.pk, 3, 3 * T),
    ]
    shares = [[(share.number, round(share.dry_kg)) for share in turn.batches] for turn in turns]
    assert shares == [[(older.number, 4000)], [(older.number, 1000), (younger.number, 2000)]]

    bed_pens(site_id=site.pk, batch_id=older.pk, pen_ids=[first.pk], dry_kg=T, by=by, at=NOW)
    assert [turn.pen_id for turn in told(site).pens] == [other.pk]


def test_a_pen_without_any_bedding_on_record_is_told_as_such(site: Site) -> None:
    turn = told(site).pens[0]
    assert (turn.since_d, turn.lost_kg, turn.batches) == (None, T, ())


def test_it_is_the_same_all_day_and_takes_few_queries(
    farm: Farm, django_assert_num_queries: Any
) -> None:
    with django_assert_num_queries(15):
        first = sand_supply(farm.site, farm.now)
    again = sand_supply(farm.site, farm.now + timedelta(hours=1))
    assert (first.ahead.stock_kg == again.ahead.stock_kg).all()


def test_the_api_gives_it_with_null_for_what_is_not_in_sight(
    farm: Farm, as_worker: APIClient
) -> None:
    given = ask(as_worker, "sand-supply/")
    assert given["opening_kg"] == 3 * 20_000
    assert given["use_kg_d"]["likely"] == pytest.approx(300 * 22, rel=0.01)
    assert given["purchase"] is None  # the farm gives no lead time
    assert given["bays"]["needed"]["likely"] is None  # its layers are not foreseen dry
    assert [turn["since_d"] for turn in given["pens"]] == [21, 21, 21]
    assert given["pens"][0]["batches"][0]["batch"] == farm.batches[Stage.RELEASED][-1].pk
    assert len(given["stock_kg"][0]) == len(given["stock_kg"][2])

    Place.objects.filter(kind=PlaceKind.BED_GROUP, site=farm.site).update(retired_at=farm.now)
    assert ask(as_worker, "sand-supply/")["days_d"]["likely"] is None

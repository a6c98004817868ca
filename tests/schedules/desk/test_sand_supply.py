"""The supply on the Sand page: days, what to buy, places, sources; nothing where none is known."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from django.test import Client

from equipment.sandyard.models import SandPractice
from equipment.site.models import Place, PlaceKind
from schedules.desk.sand_supply import RESIDENCE, say_days
from schedules.outlook.models import OutlookPractice
from schedules.outlook.supply import supply_of
from schedules.outlook.supply_facts import ResidenceSource
from schedules.sand.calc.ahead import SandAhead
from schedules.sand.models import Batch, BatchStep, Stage
from schedules.sand.queries import batch_views
from schedules.sand.recovery import recovery_of
from schedules.sand.services import practice_of
from tests.factories import make_bay
from tests.farm import Farm

from .conftest import NOW
from .reading import rows, url, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def known(farm: Farm) -> Farm:
    """Figures known to the kilogram, and only released sand: three batches of 20 t for 6.6 t/d."""
    SandPractice.objects.filter(site=farm.site).update(recovery_sd_frac=0, safety_stock_kg=10_000)
    OutlookPractice.objects.create(site=farm.site, use_sd_frac=0, buy_lead_d=2, truck_kg=25_000)
    Batch.objects.filter(site=farm.site).exclude(stage=Stage.RELEASED).update(ended_at=NOW)
    return farm


def page(client: Client) -> str:
    return words(client.get(url("sand")))


def test_days_of_sand_and_what_to_buy_stand_first(known: Farm, worker: Client) -> None:
    said = page(worker)

    # 60 t less 10 t kept back are 7 whole days at 6.6 t; day 7 (11 March) lacks 2.8 t, and within
    # a week 42.4 t: two trucks of 25 t; to the end of 64 days 372.4 t: fifteen
    assert "Sand for 7 days. Order 2 trucks (55 tons) by Mon 9 Mar, for the week from" in said
    assert "from Wed 11 Mar; 15 (413 tons) in all until Wed 6 May." in said
    assert "is then 0%; without it, 100%." in said


def test_an_order_that_comes_too_late_says_what_chance_stays(known: Farm, worker: Client) -> None:
    OutlookPractice.objects.filter(site=known.site).update(buy_lead_d=20)
    said = page(worker)
    assert "by today, for the week from Tue 24 Mar" in said
    assert "before an order of today is here, is 100%." in said


def test_nothing_is_bought_without_lead_time_or_without_need(known: Farm, worker: Client) -> None:
    OutlookPractice.objects.filter(site=known.site).update(buy_lead_d=None)
    assert "told once the farm file gives buy_lead_d (year_ahead)" in page(worker)

    OutlookPractice.objects.filter(site=known.site).update(buy_lead_d=2)
    SandPractice.objects.filter(site=known.site).update(use_kg_stall_d=2)
    said = page(worker)
    assert "Sand for more than 64 days: so far batches on record tell." in said
    assert "Nothing needs to be bought within 64 days" in said
    assert "if nothing is bought: above the safety stock throughout." in said


def test_the_balance_has_its_table_by_the_week(known: Farm, worker: Client) -> None:
    html = worker.get(url("sand")).content.decode()
    table = rows(html[html.index('id="table-supply"') :])
    # 60 t less 6.6 t and 52.8 t, in short tons of 907.18474 kg: NIST SP 811 (2008), appendix B.8
    assert ["Wed 4 Mar", "59", "59", "59", "0"] in table
    assert ["Wed 11 Mar", "8", "8", "8", "1"] in table
    assert "if nothing is bought: below the safety stock from Wed 11 Mar." in html


def test_released_batches_are_laid_end_to_end_the_oldest_first(known: Farm, worker: Client) -> None:
    said = page(worker)
    oldest, younger = known.batches[Stage.RELEASED][-1], known.batches[Stage.RELEASED][-2]
    # 20 t are three days of 6.6 t and 0.2 t of the fourth
    assert f"Batch {oldest.number} · 22 tons · Wed 4 Mar to Sat 7 Mar" in said
    assert f"Batch {younger.number} · 22 tons · Sat 7 Mar to Tue 10 Mar" in said


def test_pens_are_told_their_batches_and_what_is_lacking(known: Farm, worker: Client) -> None:
    html = worker.get(url("sand")).content.decode()
    table = rows(html[html.index('id="supply-pens"') :])
    first, second, third = known.batches[Stage.RELEASED]
    # bedded three weeks ago: 100 stalls lost 21 × 2.2 t = 46.2 t; there are 3 × 20 t
    pens = [f"Pen {pen.place.key}" for pen in known.pens]
    since, lost = "21 days ago", "50.9 tons"
    of_first = f"{third.number} (22.0 tons), {second.number} (22.0 tons), {first.number} (6.8 tons)"
    assert [pens[0], since, lost, of_first] in table
    assert [pens[1], since, lost, f"{first.number} (15.2 tons), 35.7 tons lacking"] in table
    assert [pens[2], since, lost, "50.9 tons lacking"] in table


def test_places_are_held_against_those_that_are_there(known: Farm, worker: Client) -> None:
    batch = known.batches[Stage.DRYING][0]
    for kind, days in (("spread", 30), ("picked_up", 5)):
        at = NOW - timedelta(days=days)
        BatchStep.objects.create(
            site=known.site, batch=batch, kind=kind, at=at, by=known.worker.actor
        )
    html = worker.get(url("sand")).content.decode()
    table = rows(html[html.index('id="supply-h"') :])
    n_bays, n_places = len(known.bays), len(known.pile_places)
    # 5 148 kg a day on bays for 60 t, each for 25 days: 2.1; a pile each 8 days of 41.2 t, which
    # fills, cures 60 days and is bedded in 6.24 days: 74.24 / 8 = 9.3
    assert ["Bay", "2.1 (2.1 – 2.1)", str(n_bays), "25 (25 – 25) days", "enough"] in table
    lacking = f"{10 - n_places} are lacking"
    assert ["Pile", "9.3 (9.3 – 9.3)", str(n_places), "74 (74 – 74) days", lacking] in table
    assert "by the layers picked up in the last four weeks (1)" in words(worker.get(url("sand")))


def test_every_figure_says_where_it_comes_from(known: Farm, worker: Client) -> None:
    make_bay(known.site, "more")
    said = page(worker)
    for source in (
        "300 stalls × 48.5 lb × 1.00 for this month, ± 0%",
        "78% ± 0.0%, the farm's setting",
        "8 and 60 days",
        "2, 27.6 tons",
        "nothing tells: no layer lies there or was picked up",
        "a person decides",
    ):
        assert source in said


def test_farm_without_use_is_told_no_days(farm: Farm, worker: Client) -> None:
    Place.objects.filter(kind=PlaceKind.BED_GROUP).update(retired_at=NOW)
    said = page(worker)
    assert "No use of sand is known: give stalls and their use in the farm file." in said
    assert "Sand for" not in said


def test_the_unlikely_few_days_are_told_beside_the_likely(farm: Farm) -> None:
    practice, recovery = practice_of(farm.site.pk), recovery_of(farm.site.pk, NOW)
    supply = supply_of(farm.site, NOW, batch_views(farm.site.pk), practice, recovery)

    def told(*days: int) -> str:
        """Say it of members that use a kilogram a day, and have so many."""
        use = np.ones((len(days), 50))
        arrive = np.zeros_like(use)
        arrive[:, 0] = days
        ahead = SandAhead(date(2026, 3, 4), 0.0, 0.0, arrive, use)
        return say_days(replace(supply, ahead=ahead))

    assert told(41, 41, 33) == "Sand for 41 days; one chance in ten that it is 33 or less."
    assert told(1, 1) == "Sand for 1 day."
    assert told(0) == "Ready sand is below the safety stock by tonight."
    assert told(99, 99, 33) == (
        "Sand for more than 50 days: so far batches on record tell; "
        "one chance in ten that it is 33 or less."
    )


def test_every_source_of_a_residence_has_its_words() -> None:
    assert set(RESIDENCE) == set(ResidenceSource)

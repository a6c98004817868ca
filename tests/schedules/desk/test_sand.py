"""The Sand page: measured and reckoned told apart, and what a forecast lacks."""

from datetime import timedelta

import pytest
from django.test import Client

from equipment.site.models import Place, PlaceKind
from equipment.weather.models import WeatherDay
from schedules.desk.sand_words import WHY_NONE
from schedules.sand.forecasts import WhyNone
from schedules.sand.ledger import batch_mass_kg
from schedules.sand.models import Batch, DryForecast, MoistureTest, Stage
from tests.farm import Farm

from .conftest import NOW
from .reading import rows, url, words

pytestmark = pytest.mark.django_db


def row_of(client: Client, batch: Batch) -> str:
    """What the page's row of a batch says."""
    html = client.get(url("sand")).content.decode()
    at = html.index(f'<tr id="batch-{batch.number}"')
    return " | ".join(rows(html[at : html.index("</tr>", at) + 5])[0])


def test_measured_and_reckoned_moisture_are_named_as_what_they_are(
    farm: Farm, worker: Client
) -> None:
    batch = farm.batches[Stage.DRYING][0]
    batch.tests.update(taken_at=NOW - timedelta(days=5), moisture_wb_frac=0.091)
    detail = {"moisture_on": "2026-03-04", "moisture_wb_frac": [0.04, 0.061, 0.082]}
    batch.forecasts.update(detail=detail)

    said = row_of(worker, batch)

    assert "9.1% measured Fri 27 Feb" in said
    assert "6.1% estimate, 4.0% to 8.2%" in said


def test_moisture_that_nobody_measured_is_not_told_as_todays(farm: Farm, worker: Client) -> None:
    drying, pile = farm.batches[Stage.DRYING][0], farm.batches[Stage.CURING][0]
    MoistureTest.objects.all().delete()
    bought = farm.batches[Stage.CURED][0]
    Batch.objects.filter(pk=bought.pk).update(is_bought=True)

    assert "% as scooped, not measured" in row_of(worker, drying)
    assert "10.0% of the wettest sand brought to it" in row_of(worker, pile)
    assert "10.0% as delivered, not measured here" in row_of(worker, bought)


def test_days_without_recorded_weather_are_told(farm: Farm, worker: Client) -> None:
    batch = farm.batches[Stage.DRYING][0]
    batch.forecasts.update(detail={"n_days_filled": 13})

    said = row_of(worker, batch)

    assert "13 days have no recorded weather: past years stand in for them." in said


def test_batch_without_a_forecast_of_today_says_why(farm: Farm, worker: Client) -> None:
    batch = farm.batches[Stage.DRYING][0]
    DryForecast.objects.filter(batch=batch).update(made_at=NOW - timedelta(days=2))

    # the small farm's three days are no past year
    assert (
        "No forecast: the recorded weather has not one past year with all of these days. "
        "These dates are of Mon 2 Mar."
    ) in row_of(worker, batch)

    DryForecast.objects.all().delete()
    WeatherDay.objects.all().delete()
    said = row_of(worker, batch)
    assert "No forecast: no weather is recorded yet. Import some." in said
    assert "These dates" not in said


def test_every_reason_for_no_forecast_has_its_sentence() -> None:
    assert WHY_NONE.keys() == set(WhyNone)


def test_farm_that_uses_no_sand_is_not_told_that_it_has_none(farm: Farm, worker: Client) -> None:
    Place.objects.filter(kind=PlaceKind.BED_GROUP).update(retired_at=NOW)

    said = words(worker.get(url("sand")))

    assert "Released: 66 tons. No use of sand is known, so its days cannot be told." in said


TON_KG = 907.18474  # the short ton: NIST SP 811 (2008), Appendix B.8


def step(client: Client, batch: Batch, name: str, **data: object) -> str:
    """Send a form of a batch as its lead does, and give what the answer says."""
    return words(client.post(url("batch-step", batch.pk, name), data, follow=True))


def mass_t(batch: Batch) -> float:
    """What a batch still holds, in short tons."""
    return batch_mass_kg(batch) / TON_KG


def test_bedding_is_told_at_the_desk_and_traced_from_the_pen(farm: Farm, manager: Client) -> None:
    batch = farm.batches[Stage.RELEASED][-1]
    before = mass_t(batch)
    pens = [pen.pk for pen in farm.pens[:2]]

    step(manager, batch, "bed", pen=pens, amount="3.5")

    assert before - mass_t(batch) == pytest.approx(7)
    html = manager.get(url("sand")).content.decode()
    traced = rows(html[html.index('id="bedded-h"') :])
    for pen in farm.pens[:2]:
        assert [f"Pen {pen.place.key}", str(batch.number), "Wed 4 Mar", "3.5 tons"] in traced


def test_younger_sand_is_bedded_first_only_with_a_reason(farm: Farm, manager: Client) -> None:
    young = farm.batches[Stage.RELEASED][0]
    data = {"pen": [farm.pens[0].pk], "amount": "2"}

    assert "was released before" in step(manager, young, "bed", **data)
    assert "Recorded." in step(manager, young, "bed", reason="nearest", **data)


def test_bedding_names_its_pens(farm: Farm, manager: Client) -> None:
    said = step(manager, farm.batches[Stage.RELEASED][-1], "bed", amount="2")

    assert "Choose at least one: Pens." in said


def test_count_and_disposal_are_told_with_their_reason(farm: Farm, manager: Client) -> None:
    batch = farm.batches[Stage.CURED][0]

    step(manager, batch, "count", amount="18 t", reason="tape")
    assert batch_mass_kg(batch) == pytest.approx(18_000)
    step(manager, batch, "dispose", amount="8 t", reason="manure in it")
    assert batch_mass_kg(batch) == pytest.approx(10_000)
    assert "Reason is needed." in step(manager, batch, "dispose", amount="1")
    assert "How it was counted is needed." in step(manager, batch, "count", amount="1")


def test_delivery_is_a_batch_that_waits_for_its_release(farm: Farm, manager: Client) -> None:
    place = farm.pile_places[0].pk
    data = {"place": place, "amount": "24", "moisture_pct": "5"}

    said = words(manager.post(url("sand-delivery"), data, follow=True))

    batch = Batch.objects.get(is_bought=True, site=farm.site)
    assert f"Batch {batch.number} is taken in. Release it before it is bedded." in said
    assert (batch.stage, batch.place_id) == ("cured", place)
    assert mass_t(batch) == pytest.approx(24)
    assert f'<option value="{place}">' not in manager.get(url("sand")).content.decode()


def test_forms_of_sand_are_shown_to_those_who_may_send_them(
    worker: Client, manager: Client
) -> None:
    fields = ('name="amount"', 'id="bought-h"')
    pages = [client.get(url("sand")).content.decode() for client in (worker, manager)]

    assert [[field in page for field in fields] for page in pages] == [[False] * 2, [True] * 2]

"""The Sand page on drying: options, what tests changed, the bay's rate, the record, the caution."""

from typing import Any

import pytest
from django.test import Client

from schedules.desk.sand_drying import OPTION_WORDS
from schedules.sand.forecasts import Option
from schedules.sand.models import DryForecast, DryScore, Stage
from tests.farm import Farm

from .conftest import NOW
from .reading import url, words

pytestmark = pytest.mark.django_db

DETAIL: dict[str, Any] = {
    "n_tests": 2,
    "untested": ["2026-03-06", "2026-03-09", ""],
    "rate_frac": [0.91, 1.04, 1.19],
    "n_rate_batches": 7,
    "options": [
        {
            "code": "one_more_turn",
            "turns_d": 3,
            "thickness_m": 0.254,
            "dry_on": ["2026-03-05", "2026-03-07", "2026-03-10"],
            "saved_d": [0, 1, 2],
        },
        {
            "code": "thinner",
            "turns_d": 2,
            "thickness_m": 0.2032,
            "dry_on": ["2026-03-05", "2026-03-06", "2026-03-08"],
            "saved_d": [1, 2, 5],
        },
    ],
}


def page(client: Client) -> str:
    return words(client.get(url("sand")))


def test_options_tests_and_rate_stand_with_range_and_number(farm: Farm, worker: Client) -> None:
    farm.batches[Stage.DRYING][0].forecasts.update(detail=DETAIL)

    said = page(worker)

    assert "turned 3 times a day: Sat 7 Mar (Thu 5 Mar to Tue 10 Mar) 1 day sooner (0 to 2)" in said
    assert "spread 8.0 in deep: Fri 6 Mar (Thu 5 Mar to Sun 8 Mar) 2 days sooner (1 to 5)" in said
    assert "Mon 9 Mar (Fri 6 Mar to later) before its 2 tests" in said
    assert "1.04 (0.91 to 1.19), from 7 batches" in said
    assert "not the physics of drying, for which no open data were found" in said


def test_an_untested_batch_says_so(farm: Farm, worker: Client) -> None:
    farm.batches[Stage.DRYING][0].forecasts.update(detail=DETAIL | {"n_tests": 0})
    assert "not tested yet" in page(worker)


def test_a_forecast_of_before_shows_no_options(farm: Farm, worker: Client) -> None:
    assert "What would dry it sooner" not in page(worker)


def test_the_record_is_told_once_there_is_one(farm: Farm, worker: Client) -> None:
    farm.batches[Stage.DRYING][0].forecasts.update(detail=DETAIL)
    assert "No forecast has come due yet: none of them is checked." in page(worker)
    for forecast in DryForecast.objects.filter(site=farm.site):
        DryScore.objects.create(
            site=farm.site, forecast=forecast, dry_on=NOW.date(), crps_d=1.26, pit=0.4
        )
    n = DryScore.objects.filter(site=farm.site).count()
    some = f"{n} forecast" + ("s" if n > 1 else "")
    said = page(worker)
    assert some in said
    assert "1.3 days" in said
    assert "100% in" in said


def test_every_option_has_its_words() -> None:
    assert set(OPTION_WORDS) == set(Option)

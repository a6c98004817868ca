"""What finished batches teach: each forecast scored once, each bay's rate from its own batches."""

from datetime import date

import numpy as np
import pytest
from django.db import IntegrityError, transaction

from equipment.site.calc.scores import crps
from equipment.weather.models import WeatherDay
from schedules.sand import services as sand
from schedules.sand.calc.rate import UNKNOWN_PAD
from schedules.sand.forecasts import Option, forecast_all
from schedules.sand.learning import dry_record, rates_of, score_forecasts
from schedules.sand.models import Batch, DryForecast, DryRate, DryScore
from schedules.sand.shapes import ForecastOutput
from tests.schedules.sand.test_forecasts import record_weather
from tests.schedules.sand.test_services import DAY, NOW, Yard

pytestmark = pytest.mark.django_db


@pytest.fixture
def yard() -> Yard:
    yard = Yard()
    record_weather(yard, until=date(2026, 4, 20))
    return yard


def forecast(yard: Yard, days: float) -> None:
    forecast_all(site_id=yard.site.pk, at=NOW + days * DAY)


def read_moisture(yard: Yard, batch: Batch, moisture_frac: float, days: float) -> None:
    sand.add_moisture_test(
        batch_id=batch.pk, moisture_frac=moisture_frac, basis="wb", n_spots=9, **yard.who(days)
    )


def pick_up(yard: Yard, batch: Batch, days: float) -> None:
    sand.pile(batch_id=batch.pk, pile_place_id=yard.piles[0].pk, **yard.who(days))


def test_a_forecast_is_scored_once_when_a_person_has_told_the_layer_dry(yard: Yard) -> None:
    batch = yard.drying()
    forecast(yard, 3)
    read_moisture(yard, batch, 0.07, 4)
    read_moisture(yard, batch, 0.045, 8)
    forecast(yard, 9)
    assert not DryScore.objects.exists()  # it still lies there: nobody has told
    pick_up(yard, batch, 10)
    forecast(yard, 11)
    (score,) = DryScore.objects.all()
    first = DryForecast.objects.earliest("made_at", "id")
    assert score.forecast_id == first.pk  # the later one was made when it was dry already
    assert score.dry_on == (NOW + 8 * DAY).date()
    days = np.array([date.fromisoformat(dot).toordinal() for dot in first.dots], dtype=float)
    assert score.crps_d == pytest.approx(crps(days, score.dry_on.toordinal()))
    score_forecasts(yard.site, NOW + 12 * DAY)
    assert DryScore.objects.count() == 1


def test_without_a_dry_test_the_pick_up_tells(yard: Yard) -> None:
    batch = yard.drying()
    forecast(yard, 3)
    pick_up(yard, batch, 9)
    score_forecasts(yard.site, NOW + 10 * DAY)
    assert DryScore.objects.get().dry_on == (NOW + 9 * DAY).date()


def test_a_date_beyond_the_horizon_is_scored_as_its_end(yard: Yard) -> None:
    batch = yard.drying()
    forecast(yard, 3)
    DryForecast.objects.update(dots=[""] * 20)
    pick_up(yard, batch, 9)
    score_forecasts(yard.site, NOW + 10 * DAY)
    # made on day 3, told on day 9, said day 63 or later
    assert DryScore.objects.get().crps_d == pytest.approx(54)


def test_the_record_sums_up_and_is_none_before_the_first(yard: Yard) -> None:
    assert dry_record(yard.site.pk) is None
    batch = yard.drying()
    forecast(yard, 3)
    pick_up(yard, batch, 9)
    score_forecasts(yard.site, NOW + 10 * DAY)
    record = dry_record(yard.site.pk)
    assert record is not None
    assert (record.n_forecasts, record.n_batches) == (1, 1)
    assert record.crps_d == DryScore.objects.get().crps_d
    assert record.hit_share in {0.0, 1.0}


def test_a_bay_learns_from_the_tests_of_its_own_batches(yard: Yard) -> None:
    """Bay 1 dries faster than the farm's rate, as its tests tell; of bay 2 nothing is known."""
    fast = yard.drying()
    Batch.objects.update(closed_at=NOW)  # it has drained for two days
    WeatherDay.objects.filter(on__gte=date(2026, 3, 1)).update(et0_mm=2.0, rain_mm=0.0)
    # 0.25 m at 1.6 t/m³ drained to 30.6 mm; 2 mm · 1.2 · 1.25 leave a day: 30.6 - 3 k, wet basis
    for k in range(6):
        read_moisture(yard, fast, (30.6 - 3 * k) / (400 + 30.6 - 3 * k), 2.1 + k)
        sand.turn(batch_id=fast.pk, **yard.who(2.2 + k))
    pick_up(yard, fast, 8)
    forecast(yard, 9)
    learned = rates_of(yard.site.pk)[yard.bays[0].pk]
    assert learned.n_batches == 1
    assert 0.02 < learned.log_mean < np.log(1.25)
    assert learned.log_sd < UNKNOWN_PAD.log_sd
    assert DryRate.objects.get().bay_id == yard.bays[0].pk
    assert yard.bays[1].pk not in rates_of(yard.site.pk)

    later = yard.drying(bay=0, days=10)
    other = yard.drying(bay=1, days=10)
    forecast(yard, 11)
    told = {
        row.batch_id: row.detail for row in DryForecast.objects.filter(batch__in=[later, other])
    }
    assert told[later.pk]["n_rate_batches"] == 1
    assert told[later.pk]["rate_frac"][1] == pytest.approx(np.exp(learned.log_mean), abs=0.001)
    assert (told[other.pk]["n_rate_batches"], told[other.pk]["rate_frac"][1]) == (0, 1.0)


def test_a_batch_without_tests_or_weather_teaches_nothing_and_is_asked_once(yard: Yard) -> None:
    silent, gap = yard.drying(0), yard.drying(1)
    read_moisture(yard, gap, 0.05, 6)
    WeatherDay.objects.filter(on=date(2026, 3, 8)).delete()
    pick_up(yard, silent, 8)
    pick_up(yard, gap, 8)
    for days in (9, 10):
        forecast(yard, days)
    rows = DryRate.objects.all()
    assert {row.batch_id for row in rows} == {silent.pk, gap.pk}
    assert {(row.log_rate, row.log_sd) for row in rows} == {(None, None)}
    assert rates_of(yard.site.pk) == {}


def test_options_and_the_effect_of_tests_are_kept_with_the_forecast(yard: Yard) -> None:
    batch = yard.drying()
    forecast(yard, 3)
    read_moisture(yard, batch, 0.085, 3.5)
    forecast(yard, 4)
    before, after = DryForecast.objects.order_by("made_at")
    assert (before.detail["n_tests"], after.detail["n_tests"]) == (0, 1)
    assert after.detail["untested"] != [
        on.isoformat() if on else ""
        for on in (after.dry_on_p10, after.dry_on_p50, after.dry_on_p90)
    ]
    options = {Option(option["code"]): option for option in before.detail["options"]}
    assert set(options) == set(Option)
    assert options[Option.ONE_MORE_TURN]["turns_d"] == 3
    assert options[Option.THINNER]["thickness_m"] == pytest.approx(0.2)
    for option in options.values():
        assert option["saved_d"] == sorted(option["saved_d"])
        assert option["saved_d"][1] >= 0


def test_the_api_gives_options_and_rate_and_none_for_a_forecast_of_before(yard: Yard) -> None:
    yard.drying()
    forecast(yard, 3)
    row = DryForecast.objects.get()
    told = ForecastOutput(row).data
    assert [option["code"] for option in told["options"]] == ["one_more_turn", "thinner"]
    assert (len(told["rate_frac"]), told["n_rate_batches"]) == (3, 0)
    row.detail = {}
    before = ForecastOutput(row).data
    assert (before["options"], before["rate_frac"], before["n_rate_batches"]) == ([], [], 0)


def test_the_database_refuses_half_a_rate_and_a_second_score(yard: Yard) -> None:
    batch = yard.drying()
    forecast(yard, 3)
    bay = yard.bays[0].place
    with pytest.raises(IntegrityError), transaction.atomic():
        DryRate.objects.create(site=yard.site, batch=batch, bay=bay, log_rate=0.1)
    row = {"forecast": DryForecast.objects.get(), "dry_on": date(2026, 3, 9)}
    DryScore.objects.create(site=yard.site, crps_d=1.0, pit=0.5, **row)
    with pytest.raises(IntegrityError), transaction.atomic():
        DryScore.objects.create(site=yard.site, crps_d=1.0, pit=0.5, **row)

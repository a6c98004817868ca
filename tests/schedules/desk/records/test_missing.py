"""Records: what was due and is not there."""

from __future__ import annotations

from datetime import date

import pytest
from django.test import Client

from equipment.basins.models import Basin
from equipment.site.models import Actor, Site
from equipment.weather.models import WeatherStation
from schedules.desk.record_cover import gaps_in
from schedules.sand.models import BatchStep, Stage
from schedules.sand.services import add_moisture_test
from tests.factories import make_basin, make_batch, make_bay
from tests.schedules.desk.conftest import NOW
from tests.schedules.desk.reading import section

from .told import DAY, FEBRUARY, HOUR, MARCH, make_round, page, say_level, say_weather

pytestmark = pytest.mark.django_db


def test_gaps_are_longer_than_the_rule_and_looked_back_from_the_first_day() -> None:
    first, end, most = date(2026, 2, 1), date(2026, 3, 1), 8 * DAY
    of = {
        (): [(first, end)],
        (date(2026, 1, 28), date(2026, 2, 5), date(2026, 2, 13), date(2026, 2, 21)): [],
        (date(2026, 1, 25), date(2026, 2, 5), date(2026, 2, 13), date(2026, 2, 20)): [
            (date(2026, 1, 25), date(2026, 2, 5)),
            (date(2026, 2, 20), end),
        ],
        (date(2026, 2, 9), date(2026, 2, 17), date(2026, 2, 25)): [],
        (date(2026, 2, 10), date(2026, 2, 18), date(2026, 2, 25)): [(first, date(2026, 2, 10))],
    }
    for days, gaps in of.items():
        assert gaps_in(days, first, end, most) == gaps


def test_weeks_without_a_level_are_named_by_basin(
    site: Site, basin: Basin, ana: Actor, lead: Client
) -> None:
    make_basin(site, "east")
    for days in (-6, 0, 8, 16):  # 4, 10, 18 and 26 February
        say_level(basin, ana, FEBRUARY + days * DAY)

    missing = section(page(lead), "missing")
    never = "no level read for 28 days, from Sun 1 Feb 2026 until Sat 28 Feb 2026."
    assert f"Basin east: {never}" in missing
    assert "Basin west" not in missing


def test_period_that_is_not_over_is_looked_at_up_to_today(
    basin: Basin, ana: Actor, lead: Client
) -> None:
    say_level(basin, ana, NOW - DAY)

    assert "Basin west" not in section(page(lead, **MARCH), "missing")


def test_batch_picked_up_untested_is_named(site: Site, ana: Actor, lead: Client) -> None:
    tested, untested = (
        make_batch(site, Stage.DRYING, at=FEBRUARY - DAY, place=make_bay(site, f"bay-{n}").place)
        for n in (1, 2)
    )
    add_moisture_test(
        site_id=site.pk, batch_id=tested.pk, moisture_frac=0.04, basis="wb", n_spots=5, by=ana,
        at=FEBRUARY,
    )  # fmt: skip
    for batch in (tested, untested):
        BatchStep.objects.create(
            site=site, batch=batch, kind="picked_up", at=FEBRUARY + HOUR, by=ana
        )

    missing = section(page(lead), "missing")
    no_test = "picked up on Tue 10 Feb 2026 with no moisture test on record."
    assert f"Batch {untested.number}: {no_test}" in missing
    assert f"Batch {tested.number}:" not in missing


def test_nothing_expected_is_said_and_what_is_not_recorded_too(
    site: Site, station: WeatherStation, lead: Client
) -> None:
    for n in range(28):
        say_weather(station, date(2026, 2, 1) + n * DAY, 10)

    said = page(lead)
    assert section(said, "due") == (
        "No standing order asked for a reading, a test, a service or a heat round."
    )
    nothing = "Nothing that this program was told to expect is missing."
    assert nothing in section(said, "missing")
    assert "bacteria" in section(said, "not-recorded")
    assert "not recorded here" in section(said, "not-recorded")


def test_more_missing_work_than_is_named_is_counted(site: Site, basin: Basin, lead: Client) -> None:
    for n in range(15):
        make_round(site, basin, n)

    missing = section(page(lead), "missing")
    assert missing.count("Walk round Basin west") == 12
    assert "And 3 more." in missing

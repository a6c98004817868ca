"""This week: what is short first, in words, then by day, then drawn."""

from __future__ import annotations

from datetime import date, time, timedelta
from typing import Any

import pytest
from django.test import Client

from crews.roster.models import ShiftDemand, ShiftPattern
from equipment.machines.models import Machine, MachinePractice
from equipment.sandyard.models import SandPractice
from equipment.site.models import HoldSubject, Role, Site
from equipment.site.services import put_hold
from equipment.weather.forecasts import ToldDay, foretell_day
from schedules.outlook.models import OutlookPractice
from schedules.sand.models import Stage
from tests.factories import (
    make_actor,
    make_batch,
    make_bed_group,
    make_machine,
    make_pen,
    make_shift,
    make_site,
    make_skill,
    make_user,
    make_work_order,
    make_worker,
)

from .conftest import NOW
from .reading import rows, section, url, words

pytestmark = pytest.mark.django_db

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
T = 907.18474  # kg in a short ton: NIST SP 811, appendix B.8


@pytest.fixture
def small(db: None) -> Site:
    """Tomorrow: 8 h on shift of a loader driver, 6 h of them work; two loaders for 12 h each."""
    site = make_site("small")
    SandPractice.objects.create(site=site, use_kg_stall_d=T / 100, safety_stock_kg=2 * T)
    OutlookPractice.objects.create(site=site, use_sd_frac=0)
    MachinePractice.objects.create(site=site, manned_h_d=12)
    make_bed_group(make_pen(site), n_stalls=100)
    make_batch(site, Stage.RELEASED, at=NOW - DAY, dry_kg=90 * T)
    make_skill(site, "loader")
    for key in ("loader-1", "loader-2"):
        make_machine(site, key)
    make_shift(make_worker(site, "ana", skills=("loader",)), NOW + DAY)
    make_shift(make_worker(site, "ben"), NOW + DAY)
    _order(site, "a", 5)
    return site


def _order(site: Site, key: str, hours: float) -> None:
    make_work_order(
        site,
        key,
        skill="loader",
        machine_kinds=["loader"],
        starts_after=NOW + DAY,
        duration_min=60 * hours,
    )


@pytest.fixture
def lead(small: Site) -> Client:
    client = Client()
    client.force_login(make_user(Role.MANAGER, small))
    return client


def page(client: Client, language: str = "en") -> Any:
    client.cookies["django_language"] = language
    return client.get(url("week", slug="small"))


def test_a_week_that_lacks_nothing_says_so(lead: Client) -> None:
    answer = page(lead)

    said = words(answer)
    assert "No day of the next seven is short of people, machines or sand." in said
    assert 'id="gaps"' not in answer.content.decode()
    table = rows(answer.content.decode())
    assert table[0] == [
        "Day",
        "Weather warning",
        "People, hours",
        "Loader, hours",
        "Ready sand, tons",
        "Where it is answered",
    ]
    # two people 6 h each for 5; two loaders 12 h each; 90 less today's ton, for one and 2 kept
    assert table[2] == ["Thu 5 Mar", "–", "12.0 for 5.0", "24.0 for 5.0", "89 for 3", "–"]
    assert "Every bar reaches the line of what is asked." in said


def test_hours_of_a_skill_that_lack_are_told_first_and_lead_to_the_roster(
    small: Site, lead: Client
) -> None:
    _order(small, "b", 7)

    answer = page(lead)

    assert "1 day of the next seven is short: Thu 5 Mar." in words(answer)
    assert section(answer, "gaps") == ("Thu 5 Mar: 6.0 hours of people short: Loader. Roster")
    html = answer.content.decode()
    assert f'href="{url("roster", slug="small")}?from=2026-03-05"' in html
    assert ["Loader", "Thu 5 Mar", "12.0 hours", "6.0 hours", "6.0 hours"] in rows(html)
    assert "Bars that stay below the line of what is asked: Thu 5 Mar." in words(answer)


def test_a_held_loader_is_not_there_and_leads_to_machines(small: Site, lead: Client) -> None:
    for machine in Machine.objects.filter(site=small):
        put_hold(
            site_id=small.pk,
            subject_kind=HoldSubject.MACHINE,
            subject_id=machine.pk,
            reason="brakes",
            by=make_actor(small, f"by-{machine.key}"),
            at=NOW,
        )

    answer = page(lead)

    assert section(answer, "gaps") == "Thu 5 Mar: 5.0 machine hours short: Loader. Machines"
    assert "Loader-1: out of use, counted on no day" in words(answer)


def test_sand_below_the_safety_stock_is_told_once_for_its_days(small: Site, lead: Client) -> None:
    SandPractice.objects.filter(site=small).update(safety_stock_kg=86 * T)

    answer = page(lead)

    # at 9 am 0.625 of today is left: 89.4 at its end, then 88.4, ... 83.4: 86 are to be kept
    assert section(answer, "gaps") == (
        "Sun 8 Mar to Tue 10 Mar: up to 2.6 tons of ready sand short. Sand"
    )
    assert "3 days of the next seven are short: Sun 8 Mar, Mon 9 Mar, Tue 10 Mar." in words(answer)


def test_a_shift_that_lacks_heads_is_told_although_hours_suffice(small: Site, lead: Client) -> None:
    night = ShiftPattern.objects.create(
        site=small, key="night", name="Night", starts_local=time(21), duration_min=480
    )
    facts: dict[str, Any] = {"site": small, "pattern": night, "local_date": date(2026, 3, 6)}
    ShiftDemand.objects.create(target=1, skill=make_skill(small, "loader"), **facts)

    said = section(page(lead), "gaps")

    assert said == "Fri 6 Mar: people short on shifts: Night 0 of 1 for “Loader”. Roster"


def test_a_day_has_the_warnings_of_its_forecast(small: Site, lead: Client) -> None:
    told = ToldDay(
        on=NOW.date() + DAY,
        tmin_degc=-3,
        tmax_degc=4,
        rain_chance_frac=0.8,
        rain_mm=6,
        et0_mm=1,
    )
    foretell_day(site_id=small.pk, told=told, source="airport office", at=NOW)

    table = rows(page(lead).content.decode())

    assert [row[1] for row in table[1:4]] == ["–", "Frost, Rain", "–"]


def test_every_figure_of_the_drawing_stands_in_its_table(small: Site, lead: Client) -> None:
    _order(small, "b", 7)
    html = page(lead).content.decode()
    drawn = html[html.index('<svg class="drawn" role="img"') : html.index("</figure>")]

    for name, day, asked, there, _short in (row for row in rows(html) if len(row) == 5):
        if (name, day) != ("What", "Day") and not asked.startswith("0"):
            assert f">of {asked.split()[0]}<" in drawn
            assert f">{there.split()[0]}<" in drawn
    assert 'class="job late"' in drawn

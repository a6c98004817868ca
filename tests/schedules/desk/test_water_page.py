"""The Water page and the lanes on the Sand page say what they should."""

import pytest
from django.test import Client
from django.utils import timezone

from equipment.flushing.models import FlushRun, FlushTimer, Lock
from equipment.sandyard.models import Lane
from tests.farm import MINUTE, Farm

from .reading import url

pytestmark = pytest.mark.django_db


def run_now(farm: Farm, *, minutes: float, volume_m3: float) -> FlushRun:
    timer = FlushTimer.objects.filter(site=farm.site).order_by("pk")[0]
    starts_at = timezone.now() + minutes * MINUTE
    return FlushRun.objects.create(
        site=farm.site,
        timer=timer,
        alley=timer.alley,
        natural_key=f"{minutes}",
        starts_at=starts_at,
        ends_at=starts_at + 5 * MINUTE,
        volume_m3=volume_m3,
    )


def page(client: Client, name: str) -> str:
    response = client.get(url(name))
    assert response.status_code == 200
    return response.content.decode()


def test_the_run_that_starves_first_is_named(farm: Farm, manager: Client) -> None:
    run_now(farm, minutes=30, volume_m3=120)
    starved = run_now(farm, minutes=31, volume_m3=121)
    html = page(manager, "water")
    assert f"First to starve: {starved.timer.name}" in html


def test_a_quiet_day_says_that_all_get_their_water(farm: Farm, manager: Client) -> None:
    FlushRun.objects.all().delete()
    assert "Every flush run of the next 24 h gets its water." in page(manager, "water")


def test_a_tank_without_a_run_says_so(farm: Farm, manager: Client) -> None:
    FlushRun.objects.all().delete()
    html = page(manager, "water")
    assert "no run is planned in the next 24 h; its level ends at" in html
    assert "all 0 runs" not in html


def test_a_run_among_cows_is_told_not_to_run(farm: Farm, manager: Client) -> None:
    Lock.objects.all().delete()
    called_at = farm.visits[0].called_at
    run_now(farm, minutes=(called_at - timezone.now()) / MINUTE, volume_m3=5)
    html = page(manager, "water")
    assert "Not to run then" in html
    assert "cows being moved" in html


def test_the_page_tells_the_balance_and_the_wave(farm: Farm, manager: Client) -> None:
    html = page(manager, "water")
    for words in ("Stored at the end", "Unexplained", "a wave: beyond steady flow", "By Chezy"):
        assert words in html
    assert "safe to enter" not in html


def test_lane_page_says_that_physics_ranks_only(farm: Farm, manager: Client) -> None:
    Lane.objects.update(length_m=30, width_m=4)
    html = page(manager, "lane")
    assert "rank lanes and show trends only" in html
    assert "out of its range" in html  # Stokes beyond fine silt
    assert "the farm&#x27;s setting" in html


def test_a_run_says_that_it_waits_or_runs_short(farm: Farm, manager: Client) -> None:
    run = run_now(farm, minutes=30, volume_m3=10)
    FlushRun.objects.filter(pk=run.pk).update(waits_s=1200, short_m3=10 * 231 * 0.0254**3)
    Lock.objects.all().delete()
    html = page(manager, "water")
    assert "waits 20 min for its tank" in html
    assert "by 10 gal" in html

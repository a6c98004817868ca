"""Recovery read from the ledger, or the farm's own figure."""

from datetime import datetime, timedelta

import pytest

from equipment.sandyard.models import SandPractice
from equipment.site.models import Site
from schedules.sand.ledger import Amount, account, move
from schedules.sand.models import AccountKind, Stage
from schedules.sand.recovery import recovery_of
from tests.factories import make_actor, make_batch, make_site, utc

pytestmark = pytest.mark.django_db

NOW = utc("2026-06-01 06:00")
DAY = timedelta(days=1)


@pytest.fixture
def site() -> Site:
    site = make_site()
    SandPractice.objects.create(site=site, recovery_frac=0.7, recovery_sd_frac=0.08)
    return site


def tell(site: Site, at: datetime, *, bedded_kg: float, scooped_kg: float) -> None:
    """Post one week's loads."""
    batch = make_batch(site, Stage.RELEASED, at=at, dry_kg=bedded_kg)
    by = make_actor(site, f"crew-{at:%m-%d}")
    ways = [
        (AccountKind.DELIVERY, AccountKind.BEDS, bedded_kg),
        (AccountKind.LANE, AccountKind.DISPOSAL, scooped_kg),
    ]
    for source, target, kg in ways:
        move(
            batch=batch,
            source=account(site.pk, source),
            target=account(site.pk, target),
            amount=Amount.exactly(kg),
            by=by,
            at=at,
        )


def test_without_loads_the_farms_figure_counts(site: Site) -> None:
    found = recovery_of(site.pk, NOW)
    assert (found.frac, found.sd_frac, found.n) == (0.7, 0.08, 0)
    assert not found.is_measured


def test_weeks_of_loads_count_by_their_median(site: Site) -> None:
    for week, scooped_kg in enumerate([600, 650, 620, 9000, 640], start=1):
        tell(site, NOW - week * 7 * DAY + DAY, bedded_kg=1000, scooped_kg=scooped_kg)
    found = recovery_of(site.pk, NOW)
    assert found.frac == pytest.approx(0.64)
    assert found.n == 5
    assert found.sd_frac > 0
    assert found.is_measured


def test_loads_of_long_ago_or_of_another_farm_do_not_count(site: Site) -> None:
    other = make_site("other")
    for week in range(1, 6):
        tell(other, NOW - week * 7 * DAY + DAY, bedded_kg=1000, scooped_kg=500)
        tell(site, NOW - (week + 30) * 7 * DAY, bedded_kg=1000, scooped_kg=500)
    assert recovery_of(site.pk, NOW).n == 0

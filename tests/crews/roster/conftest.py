"""A site with one kind of shift, as rosters need it."""

import pytest

from crews.roster.models import ShiftPattern
from equipment.site.models import Site
from tests.crews.roster.test_build import make_pattern
from tests.factories import make_site


@pytest.fixture
def site() -> Site:
    return make_site()


@pytest.fixture
def day(site: Site) -> ShiftPattern:
    return make_pattern(site, "day", 6)

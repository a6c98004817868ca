"""A farm, two people and one work order."""

import pytest

from equipment.site.models import Actor, Site
from schedules.work.models import WorkOrder
from tests.factories import make_actor, make_site, make_work_order


@pytest.fixture
def site() -> Site:
    return make_site()


@pytest.fixture
def ana(site: Site) -> Actor:
    return make_actor(site, "ana")


@pytest.fixture
def ben(site: Site) -> Actor:
    return make_actor(site, "ben")


@pytest.fixture
def order(site: Site) -> WorkOrder:
    return make_work_order(site)

"""A small farm whose records are asked for."""

from __future__ import annotations

import pytest
from django.test import Client

from equipment.basins.models import Basin
from equipment.site.models import Actor, Role, Site
from equipment.weather.models import WeatherStation
from tests.factories import make_actor, make_basin, make_site, make_user


@pytest.fixture
def site(db: None) -> Site:
    return make_site("small")


@pytest.fixture
def ana(site: Site) -> Actor:
    return make_actor(site, "ana")


@pytest.fixture
def lead(site: Site) -> Client:
    client = Client()
    client.force_login(make_user(Role.LEAD, site))
    return client


@pytest.fixture
def basin(site: Site) -> Basin:
    return make_basin(site, "west")


@pytest.fixture
def station(site: Site) -> WeatherStation:
    return WeatherStation.objects.create(
        site=site, key="yard", name="Yard", latitude_deg=38.6, longitude_deg=-102.4,
        elevation_m=1190,
    )  # fmt: skip

"""The API of the ground floor: sites, places in the farm's words, holds."""

import pytest
from rest_framework.test import APIClient

from equipment.site.models import Hold, Site
from tests.farm import Farm, ask, say

pytestmark = pytest.mark.django_db


def test_site_says_its_clock_its_units_and_the_callers_role(
    farm: Farm, as_manager: APIClient, as_worker: APIClient
) -> None:
    site = as_manager.get("/api/v1/sites/ours/").json()

    assert (site["time_zone"], site["units"], site["role"]) == ("America/Denver", "us", "manager")
    assert as_worker.get("/api/v1/sites/ours/").json()["role"] == "worker"


def test_version_of_the_site_counts_what_was_committed(farm: Farm, as_manager: APIClient) -> None:
    before = as_manager.get("/api/v1/sites/ours/").json()["version"]

    say(as_manager, "problems/", {"text": "bent"})

    assert as_manager.get("/api/v1/sites/ours/").json()["version"] == before + 1


def test_places_are_named_in_the_farms_words_and_the_readers_language(
    farm: Farm, as_manager: APIClient
) -> None:
    Site.objects.filter(pk=farm.site.pk).update(words={"es": {"pen": "Galera"}})
    path = f"/api/v1/sites/ours/places/{farm.pens[0].pk}/"

    names = {
        language: as_manager.get(path, headers={"Accept-Language": language}).json()["name"]
        for language in ("en", "es")
    }
    assert names == {"en": "Pen pen-1", "es": "Galera pen-1"}


def test_places_of_one_kind(farm: Farm, as_manager: APIClient) -> None:
    found = ask(as_manager, "places/", {"kind": "bay"})["results"]

    assert {place["id"] for place in found} == {bay.pk for bay in farm.bays}


def test_hold_is_cleared_in_the_callers_name_and_leaves_the_list_of_open_ones(
    farm: Farm, as_manager: APIClient
) -> None:
    hold = Hold.objects.get(subject_kind="pen")
    n_open = len(ask(as_manager, "holds/", {"is_open": "true"})["results"])

    cleared = say(as_manager, f"holds/{hold.pk}/clear/", {"note": "gate welded"}).json()

    assert (cleared["cleared_by"], cleared["clear_note"]) == ("Max", "gate welded")
    assert len(ask(as_manager, "holds/", {"is_open": "true"})["results"]) == n_open - 1

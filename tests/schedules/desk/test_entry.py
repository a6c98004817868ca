"""The doors of the desk: sign-in, language, several farms, how fresh a page is."""

from __future__ import annotations

import contextlib
import threading

import pytest
from django.test import Client

from equipment.site.bell import bell
from equipment.site.models import Membership, Role, User
from equipment.site.queries import site_version
from equipment.site.writes import site_write
from tests.factories import make_site, make_user
from tests.farm import Farm

from .conftest import NOW, sign_in
from .reading import url, words

pytestmark = pytest.mark.django_db


def _with_password(farm: Farm) -> User:
    user = User.objects.get(username="manager-ours")
    user.set_password("beds-and-sand")
    user.language = "es"
    user.save()
    return user


def test_sign_in_leads_to_today_in_the_persons_language(farm: Farm) -> None:
    _with_password(farm)
    client = Client()

    response = client.post(
        "/sign-in/", {"username": "manager-ours", "password": "beds-and-sand"}, follow=True
    )

    assert response.redirect_chain[-1][0] == url("today")
    assert '<html lang="es">' in response.content.decode()


def test_wrong_password_is_told_and_names_neither_field(farm: Farm) -> None:
    _with_password(farm)

    response = Client().post("/sign-in/", {"username": "manager-ours", "password": "wrong"})

    assert response.status_code == 200
    assert 'role="alert"' in response.content.decode()
    assert "correct" in words(response)


def test_sign_in_page_is_there_in_both_languages() -> None:
    client = Client()

    assert '<html lang="en">' in client.get("/sign-in/").content.decode()
    client.post("/speak/", {"language": "es", "next": "/sign-in/"})
    assert '<html lang="es">' in client.get("/sign-in/").content.decode()


def test_language_is_kept_for_the_account_and_the_page_stays(farm: Farm, manager: Client) -> None:
    response = manager.post("/speak/", {"language": "es", "next": url("sand")})

    assert response["Location"] == url("sand")
    assert User.objects.get(username="manager-ours").language == "es"
    page = manager.get(url("sand")).content.decode()
    assert '<html lang="es">' in page
    assert 'value="en" lang="en">English' in page


@pytest.mark.parametrize("language", ["fr", "", "en/../../x"])
def test_unknown_language_changes_nothing(language: str, farm: Farm, manager: Client) -> None:
    manager.post("/speak/", {"language": language, "next": url("today")})

    assert User.objects.get(username="manager-ours").language == "en"


@pytest.mark.parametrize("back", ["https://elsewhere.example/", "//elsewhere.example", ""])
def test_language_switch_never_leads_away(back: str, farm: Farm, manager: Client) -> None:
    assert manager.post("/speak/", {"language": "es", "next": back})["Location"] == "/"


def test_person_of_one_farm_begins_there(farm: Farm, manager: Client) -> None:
    assert manager.get("/")["Location"] == url("today")


def test_person_of_two_farms_chooses(farm: Farm, manager: Client) -> None:
    second = make_site("second")
    user = User.objects.get(username="manager-ours")
    Membership.objects.create(site=second, user=user, role=Role.MANAGER)

    said = manager.get("/").content.decode()

    assert url("today") in said
    assert url("today", slug="second") in said


def test_person_of_no_farm_is_told_whom_to_ask(farm: Farm) -> None:
    make_user(Role.WORKER, username="nobody")

    assert "Ask the manager of your site" in words(sign_in("nobody").get("/"))


def told(manager: Client) -> str:
    """The first word of the stream that open pages listen to."""
    stream = manager.get(url("site-news"))
    assert stream["Content-Type"] == "text/event-stream"
    first = next(iter(stream)).decode()
    stream.close()
    return first


def test_version_rises_with_every_commit_so_that_open_pages_know(
    farm: Farm, manager: Client
) -> None:
    before = site_version(farm.site.pk)
    assert told(manager) == f"retry: 1000\nevent: version\ndata: {before}\n\n"
    with site_write(farm.site.pk, NOW) as write:
        write.touch()

    assert told(manager).endswith(f"data: {before + 1}\n\n")
    assert f'data-version="{before + 1}"' in manager.get(url("today")).content.decode()


def test_version_is_not_told_to_who_is_not_signed_in(farm: Farm) -> None:
    assert Client().get(url("site-news")).status_code == 302


def test_where_too_many_wait_a_page_is_told_to_look_now_and_then(
    farm: Farm, manager: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bell, "places", threading.BoundedSemaphore(1))
    with contextlib.closing(manager.get(url("site-news"))) as waits:
        assert next(iter(waits)).startswith(b"retry: 1000\n")
        crowded = list(manager.get(url("site-news")))
        version = site_version(farm.site.pk)
        told_both = f"event: version\ndata: {version}\n\nevent: crowded\ndata: {version}\n\n"
        assert b"".join(crowded).decode() == f"retry: 20000\n{told_both}"
    assert told(manager).startswith("retry: 1000\n")

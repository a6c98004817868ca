"""A farm of one's own from six questions."""

from __future__ import annotations

import getpass
import sys
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from equipment.site.models import Membership, Role, Site, User

pytestmark = pytest.mark.django_db

GIVEN = {
    "name": "Four Larches",
    "time_zone": "America/Boise",
    "place": "43.2, -112.3",
    "units": "si",
    "language": "es",
    "manager": "ofelia",
}


class Terminal(StringIO):
    """Where somebody sits."""

    def isatty(self) -> bool:
        return True


def run(**given: str) -> str:
    out = StringIO()
    call_command("setup", stdout=out, stderr=out, **{**GIVEN, **given})
    return out.getvalue()


def test_six_answers_make_a_site_and_a_manager_who_can_sign_in() -> None:
    said = run()

    site = Site.objects.get()
    assert (site.slug, site.name, site.time_zone) == (
        *("four-larches", "Four Larches", "America/Boise"),
    )
    assert (site.latitude_deg, site.longitude_deg, site.units, site.clock_h) == (
        *(43.2, -112.3, "si", 24),
    )
    member = Membership.objects.get()
    assert (member.user.username, member.role, member.user.language) == (
        *("ofelia", Role.MANAGER, "es"),
    )
    [line] = [line for line in said.splitlines() if "told once" in line]
    client = Client()
    assert client.login(username="ofelia", password=line.split(": ")[1])
    assert client.get(reverse("today", args=["four-larches"])).status_code == 200
    assert "/farm/four-larches/today/" in said


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("name", "!!", "letters and digits"),
        ("name", "x" * 61, "60 signs at most"),
        ("time_zone", "Idaho", "such as America/Denver"),
        ("place", "here", "degrees north and east"),
        ("place", "91, 0", "66 and 180 at most"),
        ("units", "feet", "Choose one of: us, si."),
        ("language", "fr", "Choose one of: en, es."),
        ("manager", "a b", "Enter a valid username"),
    ],
)
def test_answer_that_cannot_be_read_is_refused_by_its_option_and_nothing_is_made(
    name: str, text: str, words: str
) -> None:
    with pytest.raises(CommandError) as caught:
        run(**{name: text})

    assert str(caught.value).startswith(f"--{name.replace('_', '-')} {text}: ")
    assert words in str(caught.value)
    assert not Site.objects.exists()
    assert not User.objects.exists()


def test_second_time_the_same_site_or_manager_is_refused_and_nothing_changes() -> None:
    run()

    with pytest.raises(CommandError, match="There is a site four-larches here already"):
        run()
    with pytest.raises(CommandError, match="no account has yet"):
        run(name="Five Larches")

    assert Site.objects.count() == User.objects.count() == 1


def test_where_nobody_can_be_asked_the_missing_option_is_named() -> None:
    with pytest.raises(CommandError, match="Nobody is here to ask: give --place"):
        call_command("setup", **{k: v for k, v in GIVEN.items() if k != "place"})


def test_at_a_terminal_what_is_missing_is_asked_until_it_can_be_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    typed = iter(["Idaho", "America/Boise", "north", "43.2 -112.3", "", "", ""])
    hidden = iter(["12345678", "larch-and-loam-7", "larch", "larch-and-loam-7", "larch-and-loam-7"])
    monkeypatch.setattr(sys, "stdin", Terminal())
    monkeypatch.setattr("builtins.input", lambda _words: next(typed))
    monkeypatch.setattr(getpass, "getpass", lambda _words: next(hidden))
    out = StringIO()
    given: dict[str, Any] = {"name": "Four Larches"}

    call_command("setup", stdout=out, stderr=out, **given)

    assert Client().login(username="manager", password="larch-and-loam-7")
    assert "told once" not in out.getvalue()
    assert "These were two different ones." in out.getvalue()
    assert Site.objects.get().units == "us"

"""Records: which days are asked for, and who may ask."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from equipment.basins.models import Basin
from equipment.site.models import Actor, Role, Site
from tests.factories import make_user, utc
from tests.farm import Farm
from tests.schedules.desk.conftest import ClientOf
from tests.schedules.desk.reading import url, words

from .told import KEYS, page, say_level, shown, table

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("on", "opens", "closes"),
    [
        ("2026-03-08", "2026-03-08 07:00", "2026-03-09 06:00"),  # 23 h
        ("2026-11-01", "2026-11-01 06:00", "2026-11-02 07:00"),  # 25 h
    ],
)
def test_day_of_another_clock_is_reported_from_midnight_to_midnight(
    on: str, opens: str, closes: str, basin: Basin, ana: Actor, site: Site, clock: Any
) -> None:
    """Denver changes its clock on 8 March and 1 November 2026 (IANA time zone database)."""
    clock.move_to(utc("2026-11-20 12:00"))
    client = Client()
    client.force_login(make_user(Role.MANAGER, site))
    start, end = utc(opens), utc(closes)
    inside = [say_level(basin, ana, at) for at in (start, end - timedelta(seconds=1))]
    for at in (start - timedelta(seconds=1), end):
        say_level(basin, ana, at)

    found = table(client, "levels", **{"from": on, "to": on})
    assert [row["record_id"] for row in found] == [str(reading.pk) for reading in inside]
    assert [row["read_at"][:19] for row in found] == [f"{on}T00:00:00", f"{on}T23:59:59"]
    moments = [row[0] for row in shown(client, "levels", **{"from": on, "to": on})[1:]]
    assert [moment.split(" 2026 ")[1] for moment in moments] == ["midnight", "11:59 pm"]


def test_period_is_the_last_full_month_unless_asked(lead: Client) -> None:
    assert "Sun 1 Feb 2026 to Sat 28 Feb 2026" in words(page(lead))
    asked = {"from": "2025-03-05", "to": "2026-03-04"}
    assert "Wed 5 Mar 2025 to Wed 4 Mar 2026" in words(page(lead, **asked))  # 365 days


@pytest.mark.parametrize(
    ("first", "last", "words_said"),
    [
        ("2026-02-30", "2026-03-01", "Give the first and the last day, as in 2026-02-01."),
        ("2026-02-01", "", "Give the first and the last day, as in 2026-02-01."),
        ("", "2026-02-01", "Give the first and the last day, as in 2026-02-01."),
        ("yesterday", "2026-03-01", "Give the first and the last day, as in 2026-02-01."),
        ("2026-03-02", "2026-03-01", "The last day lies before the first."),
        ("2026-03-01", "2026-03-05", "Records end today: give a last day up to today."),
        ("2025-03-03", "2026-03-04", "A report covers 366 days at most."),
        ("0001-01-01", "0001-01-02", "Give days of the year 2000 or later."),
        ("9999-12-31", "9999-12-31", "Records end today: give a last day up to today."),
    ],
)
@pytest.mark.parametrize("name", ["records", "record-pdf", "record-csv"])
def test_bad_period_is_refused_in_words(
    name: str, first: str, last: str, words_said: str, lead: Client
) -> None:
    args = () if name == "records" else ("levels",)
    response = lead.get(url(name, *args, slug="small"), {"from": first, "to": last})

    assert response.status_code == 400
    assert words_said in words(response)


# Who may see it -----------------------------------------------------------------------------------


@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize("name", ["record-pdf", "record-csv"])
def test_only_who_decides_for_others_gets_a_report(
    name: str, role: Role, farm: Farm, client_of: ClientOf, stranger: Client
) -> None:
    address = url(name, "training")
    is_lead = role in (Role.LEAD, Role.MANAGER)

    assert client_of(role).get(address).status_code == (200 if is_lead else 403)
    assert stranger.get(address).status_code == 404


KNOWN = {
    "records": "from, to",
    "record-pdf": "from, to, paper",
    "record-csv": "from, to, form",
}


def refused(client: Client, name: str, query: str) -> str:
    """What the page says that refuses an address."""
    args = () if name == "records" else ("levels",)
    response = client.get(f"{url(name, *args, slug='small')}?{query}")
    assert response.status_code == 400
    assert response["Content-Type"].startswith("text/html")
    return words(response)


@pytest.mark.parametrize("name", KNOWN)
def test_what_is_not_known_is_refused_with_what_is(name: str, lead: Client) -> None:
    """A period asked for by a wrong word must not come out as the last full month."""
    said = refused(lead, name, "start=2026-03-01&to=2026-03-04&since=")

    assert "The address asks for what this report cannot give." in said
    for wrong in ("start", "since"):
        assert f"{wrong}: Not known here. Take it out; known are: {KNOWN[name]}." in said


@pytest.mark.parametrize(
    ("name", "query", "told"),
    [
        ("records", "from=2026-02-01&from=2026-02-02&to=2026-02-03", "from: Given 2 times."),
        ("record-csv", "form=xlsx", "form: “xlsx” cannot be had. Choose of: sheet."),
        ("record-csv", "form=sheet&form=sheet", "form: Given 2 times. Give it once."),
        ("record-pdf", "paper=a3", "paper: “a3” cannot be had. Choose of: letter, a4."),
        ("record-pdf", "form=sheet", "form: Not known here."),
        ("record-csv", "paper=a4", "paper: Not known here."),
        ("records", "FROM=2026-02-01", "FROM: Not known here."),
        ("records", "from=2026-02-01T00:00&to=2026-02-03", "from: Give the first and the last day"),
    ],
)
def test_value_that_cannot_be_read_is_refused_where_it_stands(
    name: str, query: str, told: str, lead: Client
) -> None:
    assert told in refused(lead, name, query)


def test_long_and_hostile_words_are_said_back_short_and_as_text(lead: Client) -> None:
    response = lead.get(url("records", slug="small"), {"<script>" + "x" * 900: "1"})

    assert response.status_code == 400
    assert "<script>x" not in response.content.decode()
    said = words(response)
    assert f"<script>{'x' * 32}: Not known here." in said
    assert "x" * 33 not in said


def test_what_is_known_is_taken(lead: Client) -> None:
    days = {"from": "2026-02-01", "to": "2026-02-28"}
    csv, pdf = (url(name, "levels", slug="small") for name in ("record-csv", "record-pdf"))

    assert lead.get(csv, {**days, "form": "sheet"}).status_code == 200
    assert lead.get(pdf, {**days, "paper": "a4"}).status_code == 200


@pytest.mark.parametrize("name", ["record-pdf", "record-csv"])
def test_unknown_report_is_not_found_and_those_that_there_are_named(
    name: str, lead: Client
) -> None:
    response = lead.get(url(name, "milk", slug="small"))

    assert response.status_code == 404
    assert f"There is no report “milk”. There are: {', '.join(KEYS)}." in words(response)

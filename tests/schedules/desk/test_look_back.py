"""Look back: the turns of beds and what the weeks took, in words, drawn and as CSV."""

from __future__ import annotations

import csv
from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
from django.test import Client

from equipment.barns.models import BedGroup, Pen
from equipment.site.models import Role, Site
from schedules.sand.models import Stage
from schedules.sand.services import bed_pens
from schedules.work.models import Outcome, Status
from tests.factories import (
    make_actor,
    make_batch,
    make_bed_group,
    make_milking,
    make_parlor,
    make_pen,
    make_site,
    make_standing_order,
    make_user,
    make_visit,
    make_work_order,
)

from .conftest import NOW
from .reading import rows, section, url, words

pytestmark = pytest.mark.django_db

DAY, MINUTE = timedelta(days=1), timedelta(minutes=1)
LB = 0.45359237  # kg: NIST SP 811, appendix B.8
OUTCOMES = {  # by pen: one a day, yesterday first
    "7": (Outcome.DONE, Outcome.MISSED, Outcome.PART, ""),
    "8": (Outcome.DONE, Outcome.DONE, Outcome.DONE, Outcome.COULD_NOT),
    "9": (Outcome.DONE, Outcome.DONE),
}


@pytest.fixture
def small(db: None) -> Site:
    """Three pens of 100 stalls; each job took two people 30 min with a groomer; pen 8 got sand."""
    site = make_site("small")
    parlor, rule = make_parlor(site), make_standing_order(site)
    slot = 0
    for key, outcomes in OUTCOMES.items():
        beds = make_bed_group(make_pen(site, key))
        for days_ago, outcome in enumerate(outcomes, start=1):
            slot += 1
            _turn(beds, rule, make_milking(parlor, NOW - days_ago * DAY, slot=slot), outcome)
    batch = make_batch(site, Stage.RELEASED, at=NOW - 30 * DAY, dry_kg=100_000)
    pen = Pen.objects.get(site=site, place__key="pen-8")
    who: dict[str, Any] = {"site_id": site.pk, "by": make_actor(site, "ana")}
    bed_pens(batch_id=batch.pk, pen_ids=[pen.pk], dry_kg=100 * 150 * LB, at=NOW - 8 * DAY, **who)
    return site


def _turn(beds: BedGroup, rule: Any, milking: Any, outcome: str) -> None:
    at = milking.starts_at
    facts: dict[str, Any] = {
        "place": beds.place,
        "visit": make_visit(milking, beds.pen, first_out_at=at),
        "standing_order": rule,
        "starts_after": at,
        "n_people": 2,
        "machine_kinds": ["groomer"],
    }
    if outcome:
        facts |= {"status": Status.COMPLETED, "outcome": outcome, "ended_at": at}
    if outcome in (Outcome.DONE, Outcome.PART):
        facts["started_at"] = at - 30 * MINUTE
    make_work_order(beds.site, f"groom/{beds.pk}/{milking.pk}", **facts)


@pytest.fixture
def lead(small: Site) -> Client:
    client = Client()
    client.force_login(make_user(Role.MANAGER, small))
    return client


def page(client: Client, **query: Any) -> Any:
    return client.get(url("look-back", slug="small"), query)


def table(client: Client, name: str, **query: Any) -> list[dict[str, str]]:
    answer = client.get(url(name, slug="small"), query)
    assert answer.status_code == 200
    return list(csv.DictReader(StringIO(answer.content.decode())))


def test_it_says_what_was_not_done_in_full_and_names_the_worst_first(lead: Client) -> None:
    answer = page(lead)

    said = words(answer)
    assert "Wed 4 Feb to Tue 3 Mar" in said
    first = "6 of 10 turns of rows of beds were done in full; 2 not done, 1 in part, 1 not told."
    assert first in said
    assert section(answer, "worst") == (
        "Pen pen-7: 1 of 4 in full, 1 not done, 1 in part, 1 not told. "
        "Pen pen-8: 3 of 4 in full, 1 not done."
    )


def test_each_pen_and_week_stands_in_the_table_and_in_the_drawing(lead: Client) -> None:
    html = page(lead).content.decode()

    found = rows(html)
    assert ["Pen pen-7", "from Wed 25 Feb", "4", "1", "1", "1", "1"] in found
    assert ["Pen pen-9", "from Wed 25 Feb", "2", "2", "0", "0", "0"] in found
    assert ["Pen pen-8", "from Wed 18 Feb", "1", "7.5 tons", "150 lb"] in found
    drawn = html[html.index('aria-labelledby="turns-t') :]
    assert ">1 / 4</text>" in drawn
    assert ">150 lb, 1×</text>" in drawn
    assert drawn.index(">Pen pen-7<") < drawn.index(">Pen pen-8<") < drawn.index(">Pen pen-9<")


def test_bars_are_on_one_scale(lead: Client) -> None:
    """A turn done in full is as long in every pen: 4 due fill the column."""
    html = page(lead).content.decode()
    drawn = html[html.index('aria-labelledby="turns-t') : html.index("</figure>")]
    rects = drawn.split('<rect class="job done"')[1:]
    wide = [float(rect.split('width="')[1].split('"')[0]) for rect in rects]
    assert wide == pytest.approx([wide[0], 3 * wide[0], 2 * wide[0]], abs=0.2)


def test_the_weeks_say_what_work_took(lead: Client) -> None:
    """Seven jobs of half an hour for two; the one that failed took no told time."""
    found = rows(page(lead).content.decode())
    assert ["from Wed 25 Feb", "7.0", "3.5", "0", "0.0 tons", "8"] in found
    assert ["from Wed 18 Feb", "0.0", "0.0", "0", "7.5 tons", "0"] in found


def test_the_same_figures_come_as_csv_with_units_in_their_names(lead: Client) -> None:
    pens = table(lead, "look-back-pens")
    assert len(pens) == 3 * 4
    seven = next(row for row in pens if row["pen"] == "Pen pen-7" and row["n_turns_due"] != "0")
    assert seven == {
        "from_on": "2026-02-25",
        "until_on": "2026-03-04",
        "pen": "Pen pen-7",
        "n_stalls": "100",
        "n_turns_due": "4",
        "n_turns_full": "1",
        "n_turns_part": "1",
        "n_turns_not_done": "1",
        "n_turns_untold": "1",
        "n_days_bedded": "0",
        "sand_dry_kg": "0",
        "sand_dry_kg_stall": "0.0",
    }
    eight = next(row for row in pens if row["n_days_bedded"] == "1")
    assert (eight["pen"], eight["sand_dry_kg_stall"]) == ("Pen pen-8", "68.04")

    weeks = table(lead, "look-back-weeks")
    assert [row["from_on"] for row in weeks] == [
        "2026-02-04",
        "2026-02-11",
        "2026-02-18",
        "2026-02-25",
    ]
    last = weeks[-1]
    assert (last["person_h"], last["machine_h"], last["n_jobs"]) == ("7.0", "3.5", "8")


def test_a_spreadsheet_gets_its_mark_and_a_text_no_formula(small: Site, lead: Client) -> None:
    small.words = {"en": {"pen": "=1+1"}}
    small.save()
    answer = lead.get(url("look-back-pens", slug="small"), {"form": "sheet"})
    assert answer.content.decode().startswith("\ufefffrom_on,")
    assert answer["Content-Disposition"] == 'attachment; filename="small-look-back-pens.csv"'
    assert ",'=1+1 pen-7," in answer.content.decode()


def test_eight_weeks_can_be_asked_for_and_nothing_else(lead: Client) -> None:
    assert len(table(lead, "look-back-weeks", weeks="8")) == 8
    assert "from Wed 7 Jan" in words(page(lead, weeks="8"))
    for text in ("5", "x", ""):
        assert page(lead, weeks=text).status_code == 400


@pytest.mark.parametrize("name", ["look-back", "look-back-pens", "look-back-weeks"])
def test_a_stranger_finds_nothing(name: str, small: Site, stranger: Client) -> None:
    assert stranger.get(url(name, slug="small")).status_code == 404


def test_nobody_is_named(lead: Client, small: Site) -> None:
    tables = [table(lead, name) for name in ("look-back-pens", "look-back-weeks")]
    said = words(page(lead)) + str(tables)
    assert "Ana" not in said

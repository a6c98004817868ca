"""A grown farm's visits tell what was reported of them, and none of its copies hangs in the air."""

from datetime import date, datetime, timedelta

import pytest
from django.db import connection

from schedules.rounds.models import BedWindow, Milking, PenVisit
from schedules.rounds.services import plan_milkings
from tests.benchmarks.grow import (
    DAYS,
    OFFSET,
    PERIOD_D,
    Copied,
    OrphansError,
    _copy,
    _facts,
    refuse_orphans,
)
from tests.factories import make_bed_group, make_parlor, make_pen, make_site

pytestmark = pytest.mark.django_db

ROUNDS = [table for table in DAYS if table.label.partition(".")[0] == "schedules"][:3]


@pytest.fixture
def today() -> date:
    """A farm with one pen, milked once a day, planned from today on; its pages' day."""
    site = make_site()
    make_parlor(site, starts_local=("05:00",))
    make_bed_group(make_pen(site, "1"))
    facts = _facts()
    on: date = facts["today"]
    at = datetime.combine(on, datetime.min.time(), site.zone)
    plan_milkings(site_id=site.pk, from_on=on, until_on=on + timedelta(days=2), at=at)
    return on


def _copy_rounds(tables: list[Copied] = ROUNDS) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        for table in tables:
            _copy(cursor, table, _facts(), [1], PERIOD_D)
        for table in tables:
            refuse_orphans(cursor, table)


def test_a_copied_visit_tells_its_first_cow_on_as_a_report_does(today: date) -> None:
    _copy_rounds()

    copies = PenVisit.objects.filter(pk__gte=OFFSET)
    assert len(copies) == 2
    for visit in copies:
        assert visit.actual == {"first_on": visit.first_on_at.replace(microsecond=0).isoformat()}
        before = PenVisit.objects.get(pk=visit.pk - OFFSET)
        assert before.first_on_at - visit.first_on_at == timedelta(days=PERIOD_D)
    assert BedWindow.objects.filter(pk__gte=OFFSET).count() == 2


def test_copies_without_their_parents_are_refused(today: date) -> None:
    """A milking of the past stands where a copy would be."""
    standing = Milking.objects.get(local_date=today)
    standing.pk = None
    standing.local_date = today - timedelta(days=PERIOD_D)
    standing.save()

    with pytest.raises(OrphansError, match=r"1 copies in schedules\.PenVisit have no milking_id"):
        _copy_rounds()

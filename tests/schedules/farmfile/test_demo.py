"""The demo farm brought to life: in every stage, twice the same, overlays only what they name."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest
import time_machine
from django.apps import apps
from django.core.management import call_command
from django.db import connection, transaction
from django.db.models import Sum

from crews.people.models import Leave, Worker
from crews.roster.models import Shift
from equipment.basins.models import LevelReading
from equipment.machines.models import MachineKind, MeterReading
from equipment.machines.queries import machine_views
from equipment.site.models import Membership, Site, User
from equipment.weather.models import WeatherDay
from schedules.dayplan.models import Assignment, Claim
from schedules.farmfile.demo.services import load_demo
from schedules.rounds.models import Milking
from schedules.sand.ledger import batch_masses_kg
from schedules.sand.models import AccountKind, Batch, DryForecast, SandMove, Stage
from schedules.work.models import Outcome, WorkOrder
from schedules.work.work_content import work_content

AT = datetime(2026, 11, 25, 18, tzinfo=UTC)  # a Wednesday, 11:00 at the farm

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def demo(django_db_setup: None, django_db_blocker: object) -> Iterator[Site]:
    """The demo farm, loaded once for the module and taken back after it."""
    with django_db_blocker.unblock():  # type: ignore[attr-defined]
        outer = transaction.atomic()
        outer.__enter__()
        load_demo(at=AT)
        connection.check_constraints()  # else each test's end checks them all anew
        yield Site.objects.get(slug="three-cairns")
        transaction.set_rollback(True)
        outer.__exit__(None, None, None)


def row_counts() -> dict[str, int]:
    return {model.__name__: model._default_manager.count() for model in apps.get_models()}


def test_the_demo_twice_gives_equal_row_counts(demo: Site) -> None:
    before = row_counts()

    report = load_demo(at=AT + timedelta(seconds=40))

    assert report.load.is_empty
    assert report.password is None
    assert row_counts() == before


def test_batches_stand_in_every_stage(demo: Site) -> None:
    live = Batch.objects.filter(ended_at=None)

    stages = set(live.values_list("stage", flat=True))
    assert stages == {Stage.DRAINING, Stage.DRYING, Stage.CURING, Stage.RELEASED}
    assert Batch.objects.filter(stage=Stage.BEDDED).exists()
    assert DryForecast.objects.exists()


def test_about_ten_of_twelve_pile_places_are_in_use(demo: Site) -> None:
    piles = Batch.objects.filter(ended_at=None, place__kind="pile_place")

    assert 8 <= piles.count() <= 12


def test_no_pile_is_larger_than_its_place_and_no_bay_has_two_loads(demo: Site) -> None:
    live = Batch.objects.filter(ended_at=None).select_related("place")
    masses = batch_masses_kg(list(live))
    places = [batch.place_id for batch in live if batch.stage != Stage.DRAINING]

    for batch in live:
        room_kg = 600_000 if batch.stage in (Stage.CURING, Stage.RELEASED) else 104_000
        assert 0 < masses[batch.pk] <= room_kg
    assert len(places) == len(set(places))


def test_the_ledger_closes(demo: Site) -> None:
    """What came from lanes and deliveries lies somewhere or is in the beds, to the kilogram."""

    def moved_kg(**which: object) -> float:
        return float(SandMove.objects.filter(**which).aggregate(kg=Sum("dry_kg"))["kg"] or 0)

    came_kg = moved_kg(source__kind__in=[AccountKind.LANE, AccountKind.DELIVERY])
    bedded_kg = moved_kg(target__kind=AccountKind.BEDS)
    lies_kg = sum(batch_masses_kg(list(Batch.objects.all())).values())

    assert came_kg == pytest.approx(bedded_kg + lies_kg, abs=1)
    assert not SandMove.objects.filter(needs_look=True).exists()


def test_lanes_gave_what_the_farm_file_expects(demo: Site) -> None:
    """3,844 stalls x 22 kg x 78 % = 66.0 t a day (the head of the farm file)."""
    since = AT - timedelta(days=28)
    moves = SandMove.objects.filter(source__kind=AccountKind.LANE, at__gte=since)

    total_kg = float(moves.aggregate(kg=Sum("dry_kg"))["kg"] or 0)
    assert total_kg / 28 == pytest.approx(66_000, rel=0.03)


def test_a_pile_has_the_wettest_moisture_of_its_parents(demo: Site) -> None:
    for pile in Batch.objects.filter(stage=Stage.CURING):
        parents = [link.parent.moisture_wb_frac for link in pile.parents.all()]
        assert pile.moisture_wb_frac == max(parents)


def test_meters_have_a_past_and_services_fall_due(demo: Site) -> None:
    views = machine_views(demo.pk)
    dues = [due for view in views for due in view.dues]

    assert len(views) == 14
    assert all(view.use is not None for view in views)
    assert MeterReading.objects.count() > 14 * 90
    assert any(due.is_over for due in dues)
    assert any(due.due.left_h and due.due.left_h > 100 for due in dues)
    assert {view.machine.kind for view in views if view.defects} == {
        MachineKind.TRUCK,
        MachineKind.SKID_LOADER,
    }


def test_what_the_history_did_is_closed_and_planned_for_nobody(demo: Site) -> None:
    """A turn told this morning closed its work order before the first plan was made."""
    closed = WorkOrder.objects.filter(site=demo, outcome=Outcome.DONE)

    assert closed.exists()
    assert not Assignment.objects.filter(work_order__in=closed).exists()
    assert not Claim.objects.filter(is_binding=False).exists()


def test_done_bed_work_teaches_minutes_a_stall(demo: Site) -> None:
    """Told as 1.2 and 0.9 times the said minutes, the 2 minutes to set up among them."""
    found = {each.order.key: each for each in work_content(demo.pk, AT).orders if each.learned}

    assert set(found) == {"groom-by-hand", "groom-mounted"}
    ratio = {key: each.learned.ratio for key, each in found.items() if each.learned}
    assert 1.1 < ratio["groom-by-hand"] < 1.4
    assert 0.75 < ratio["groom-mounted"] < 0.95
    assert len(found["groom-mounted"].machines) == 2


def test_weather_reaches_back_twelve_years_and_ends_yesterday(demo: Site) -> None:
    days = WeatherDay.objects.order_by("on")
    first, last = days[0], days.reverse()[0]

    assert (last.on.isoformat(), first.on.isoformat()) == ("2026-11-24", "2014-01-01")
    assert days.count() == (last.on - first.on).days + 1


def test_basins_people_and_the_days_ahead(demo: Site) -> None:
    ahead = Milking.objects.filter(starts_at__gt=AT)

    assert LevelReading.objects.count() == 6 * 12
    assert Leave.objects.count() == 3
    assert Shift.objects.filter(starts_at__gt=AT).count() > 14 * 40
    assert ahead.count() >= 14 * 3
    assert WorkOrder.objects.filter(standing_order__trigger="meter").exists()


def test_most_rows_of_beds_are_planned(demo: Site) -> None:
    """The farm file expects 49 of 52; a plan made in the middle of a milking may lose some."""
    grooms = WorkOrder.objects.filter(
        standing_order__key__startswith="groom", starts_after__gt=AT + timedelta(hours=1)
    ).filter(due_at__lt=AT + timedelta(hours=25))
    planned = Assignment.objects.filter(work_order__in=grooms)

    assert planned.count() / grooms.count() > 0.88


def test_an_overlay_moves_only_the_rows_it_names(demo: Site) -> None:
    before = row_counts()

    report = load_demo(at=AT, overlay="wet", solve_s=1)

    gone = {"LoadedEntry": 5}  # a pad and its bays, no longer of the file
    changed = {name: before[name] - n for name, n in row_counts().items() if n != before[name]}
    assert report.load.created == {}
    assert report.load.changed == {"invented_weather": 1}
    assert report.load.retired == {"pads": 1, "bays": 4}
    assert {name: changed.get(name, 0) for name in gone} == gone
    assert set(changed) <= {*gone, *FOLLOWS}


# What follows from any change and from other weather: news, runs, forecasts, work, plans.
FOLLOWS = {"Change", "TaskRun", "DryForecast", "WorkOrder", "Dependency"} | {
    "PlanRun",
    "Assignment",
    "Claim",
    "Unassigned",
}


def test_the_short_handed_overlay_takes_people_out_and_nothing_else(demo: Site) -> None:
    report = load_demo(at=AT, overlay="short_handed", solve_s=1)

    assert report.load.retired == {"workers": 29, "rotations": 29}
    assert (report.load.created, report.load.changed) == ({}, {})
    assert Worker.objects.filter(retired_at=None).count() == 35


def test_each_role_signs_in_in_both_languages(demo: Site) -> None:
    rows = Membership.objects.values_list("role", "user__language")

    assert set(rows) >= {("manager", "en"), ("manager", "es"), ("lead", "en"), ("lead", "es")}
    assert set(rows) >= {("worker", "en"), ("worker", "es"), ("mechanic", "en")}
    assert Worker.objects.get(key="ona-fernbrook").actor.user == User.objects.get(username="lead")


def test_without_a_data_folder_the_password_is_said_once(
    monkeypatch: pytest.MonkeyPatch, demo: Site
) -> None:
    monkeypatch.delenv("PENROUND_DATA", raising=False)
    User.objects.filter(username="gerente").delete()
    err = StringIO()

    with time_machine.travel(AT, tick=False):
        call_command("load_demo", stdout=StringIO(), stderr=err)

    password = err.getvalue().split()[-1]
    assert User.objects.get(username="gerente").check_password(password)

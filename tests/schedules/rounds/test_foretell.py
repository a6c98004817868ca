"""A visit that will be late is foretold: the milking is expected by it until it is reported."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from equipment.site.errors import DomainError, InvalidInputError, NotFoundError
from equipment.site.models import Actor, Site
from equipment.site.queries import site_version
from schedules.errors import (
    MilkingStateError,
    OtherVisitError,
    TimePassedError,
    UnknownMomentError,
    VisitOrderError,
)
from schedules.rounds.models import BedWindow, Milking, MilkingState, PenVisit
from schedules.rounds.queries import view_day
from schedules.rounds.services import end_milking, foretell_visit, record_visit_time, start_milking
from tests.factories import make_actor, make_bed_group, make_parlor, make_pen, make_site

from .test_services import BEFORE, FIVE, MONDAY, minutes, plan, rows_of, topics, visit_of

pytestmark = pytest.mark.django_db

NOW = FIVE - timedelta(hours=2)


@pytest.fixture
def site() -> Site:
    """Two pens of 300 cows milked at 5, 13 and 21 h, planned."""
    site = make_site()
    make_parlor(site, starts_local=("05:00", "13:00", "21:00"))
    for key in ("1", "2"):
        make_bed_group(make_pen(site, key))
    plan(site)
    return site


@pytest.fixture
def lead(site: Site) -> Actor:
    return make_actor(site, "lead")


def foretell(
    visit: PenVisit, lead: Actor, late_min: float, *, moment: str = "called", at: datetime = NOW
) -> PenVisit:
    return foretell_visit(
        site_id=visit.site_id,
        visit_id=visit.pk,
        moment=moment,
        expected_at=getattr(visit, f"{moment}_at") + minutes(late_min),
        by=lead,
        at=at,
    )


def take_back(visit: PenVisit, lead: Actor) -> PenVisit:
    return foretell_visit(
        site_id=visit.site_id, visit_id=visit.pk, moment=None, expected_at=None, by=lead, at=NOW
    )


def test_late_call_moves_its_pen_and_the_pens_behind_it(site: Site, lead: Actor) -> None:
    first, second = visit_of("1"), visit_of("2")
    since = site_version(site.pk)

    foretell(first, lead, 20)

    for before in (first, second):
        after = PenVisit.objects.get(pk=before.pk)
        assert after.called_at - before.called_at == minutes(20)
        assert after.last_back_at - before.last_back_at == minutes(20)
    assert ("milking.foretold", str(first.pk)) in topics(site, since)
    assert ("visit.retimed", str(second.pk)) in topics(site, since)
    assert visit_of("1").milking.state == MilkingState.PLANNED


def test_pen_before_a_late_one_stays(site: Site, lead: Actor) -> None:
    first = visit_of("1")
    foretell(visit_of("2"), lead, 20)
    assert visit_of("1").last_back_at == first.last_back_at


def test_the_same_again_and_taking_back_leave_the_day_as_it_was(site: Site, lead: Actor) -> None:
    before = _told(site)
    foretell(visit_of("1"), lead, 20)
    version = site_version(site.pk)
    foretell(visit_of("1"), lead, 0)
    assert site_version(site.pk) == version

    take_back(visit_of("1"), lead)

    assert _told(site) == before


def _told(site: Site) -> list[dict[str, object]]:
    """All rows but for when each was last written."""
    rows = [
        row for m in (Milking, PenVisit, BedWindow) for row in m.objects.order_by("pk").values()
    ]
    return [{name: value for name, value in row.items() if name != "changed_at"} for row in rows]


def test_planning_ahead_lets_a_foretold_milking_be(site: Site, lead: Actor) -> None:
    foretell(visit_of("1"), lead, 20)
    before = rows_of(site)
    plan(site, at=BEFORE)
    assert rows_of(site) == before


def test_what_is_reported_goes_before_what_was_foretold(site: Site, lead: Actor) -> None:
    visit = visit_of("1")
    foretell(visit, lead, 20)
    called_at = visit.called_at + minutes(3)

    record_visit_time(
        site_id=site.pk, visit_id=visit.pk, moment="called", at=called_at, by=lead,
        received_at=called_at,
    )  # fmt: skip

    assert visit_of("1").called_at == called_at
    assert visit_of("1").first_out_at < visit.first_out_at + minutes(20)


def test_first_cow_out_may_be_reported_before_a_call_that_was_foretold_later(
    site: Site, lead: Actor
) -> None:
    visit = visit_of("1")
    foretell(visit, lead, 30)
    out_at = visit.first_out_at

    record_visit_time(
        site_id=site.pk, visit_id=visit.pk, moment="first_out", at=out_at, by=lead,
        received_at=out_at,
    )  # fmt: skip

    assert visit_of("1").first_out_at == out_at


def test_later_moment_stays_foretold_when_the_call_is_reported(site: Site, lead: Actor) -> None:
    visit = visit_of("1")
    foretell(visit, lead, 30, moment="first_on")
    record_visit_time(
        site_id=site.pk, visit_id=visit.pk, moment="called", at=visit.called_at, by=lead,
        received_at=visit.called_at,
    )  # fmt: skip
    assert visit_of("1").first_on_at == visit.first_on_at + minutes(30)


def test_report_after_a_foretold_time_overtakes_it(site: Site, lead: Actor) -> None:
    """First cow on was foretold for +5; the call itself came 40 minutes late."""
    visit = visit_of("1")
    foretell(visit, lead, 5, moment="first_on")
    late_at = visit.called_at + minutes(40)
    record_visit_time(
        site_id=site.pk, visit_id=visit.pk, moment="called", at=late_at, by=lead,
        received_at=late_at,
    )  # fmt: skip
    assert visit_of("1").first_on_at >= late_at


def test_page_of_the_day_reckons_as_it_is_stored(site: Site, lead: Actor) -> None:
    foretell(visit_of("1"), lead, 20)
    view = view_day(site.pk, MONDAY)
    assert view is not None
    stored = {v.pen_id: v.called_at for v in PenVisit.objects.filter(milking__slot=1)}
    reckoned = {int(v.pen.key): v.times.called_at for v in view.clock.milkings[0].visits}
    assert reckoned == stored


@pytest.mark.parametrize(
    ("moment", "late_min", "at", "error"),
    [
        ("at dinner", 20, NOW, UnknownMomentError),
        ("called", 20, FIVE + timedelta(hours=3), TimePassedError),
        ("called", 13 * 60, NOW, OtherVisitError),
    ],
)
def test_what_cannot_be_foretold_is_refused_and_nothing_moves(
    site: Site, lead: Actor, moment: str, late_min: float, at: datetime, error: type[DomainError]
) -> None:
    visit, before = visit_of("1"), rows_of(site)
    with pytest.raises(error):
        foretell_visit(
            site_id=site.pk,
            visit_id=visit.pk,
            moment=moment,
            expected_at=visit.called_at + minutes(late_min),
            by=lead,
            at=at,
        )
    assert rows_of(site) == before


def test_what_was_reported_is_not_foretold(site: Site, lead: Actor) -> None:
    visit = visit_of("1")
    start_milking(site_id=site.pk, milking_id=visit.milking_id, at=FIVE, by=lead, received_at=FIVE)
    with pytest.raises(VisitOrderError, match="was reported"):
        foretell(visit_of("1"), lead, 20, at=FIVE)


def test_half_of_it_wipes_nothing(site: Site, lead: Actor) -> None:
    visit = visit_of("1")
    told = foretell(visit, lead, 20).foretold
    for half in (("called", None), (None, visit.called_at)):
        with pytest.raises(InvalidInputError, match="or neither"):
            foretell_visit(
                site_id=site.pk, visit_id=visit.pk, moment=half[0], expected_at=half[1],
                by=lead, at=NOW,
            )  # fmt: skip
    assert visit_of("1").foretold == told


def test_nothing_is_foretold_before_what_was_reported(site: Site, lead: Actor) -> None:
    """A phone's clock runs ahead of ours by a few minutes."""
    visit = visit_of("1")
    called_at, now = visit.called_at, visit.called_at - minutes(4)
    record_visit_time(
        site_id=site.pk, visit_id=visit.pk, moment="called", at=called_at, by=lead, received_at=now
    )
    with pytest.raises(VisitOrderError, match="before what was reported"):
        foretell_visit(
            site_id=site.pk, visit_id=visit.pk, moment="first_out",
            expected_at=called_at - minutes(2), by=lead, at=now,
        )  # fmt: skip


def test_ended_milking_is_not_foretold(site: Site, lead: Actor) -> None:
    visit = visit_of("1")
    milking, ends_at = visit.milking, visit.milking.ends_at
    start_milking(site_id=site.pk, milking_id=milking.pk, at=FIVE, by=lead, received_at=FIVE)
    end_milking(site_id=site.pk, milking_id=milking.pk, at=ends_at, by=lead, received_at=ends_at)
    with pytest.raises(MilkingStateError):
        foretell(visit_of("2"), lead, 600, at=ends_at)


def test_visit_of_another_site_is_not_found(site: Site, lead: Actor) -> None:
    visit = visit_of("1")
    with pytest.raises(NotFoundError):
        foretell_visit(
            site_id=make_site("other").pk,
            visit_id=visit.pk,
            moment="called",
            expected_at=visit.called_at + minutes(5),
            by=lead,
            at=NOW,
        )

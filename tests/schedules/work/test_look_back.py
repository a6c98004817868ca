"""The weeks that were, counted by hand on a farm of two pens."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest

from equipment.barns.models import BedGroup
from equipment.site.models import Site
from schedules.rounds.models import PenVisit
from schedules.sand.models import Stage
from schedules.sand.services import bed_pens
from schedules.work.calc.turns import Turns, total, week_of, weeks_before, worst_first
from schedules.work.look_back import LookBack, PenWeek, WeekTaken, look_back
from schedules.work.models import Outcome, StandingOrder, Status
from tests.factories import (
    make_actor,
    make_batch,
    make_bed_group,
    make_milking,
    make_parlor,
    make_pen,
    make_site,
    make_standing_order,
    make_visit,
    make_work_order,
    utc,
)

NOW = utc("2026-03-04 16:00")  # 9:00 am in Denver
DAY, HOUR, MINUTE = timedelta(days=1), timedelta(hours=1), timedelta(minutes=1)
TODAY = date(2026, 3, 4)


# Pure ---------------------------------------------------------------------------------------------


def test_weeks_are_seven_whole_days_and_end_before_today() -> None:
    weeks = weeks_before(TODAY, 2)
    assert weeks == [
        (date(2026, 2, 18), date(2026, 2, 25)),
        (date(2026, 2, 25), date(2026, 3, 4)),
    ]
    days = [date(2026, 2, 18), date(2026, 2, 24), date(2026, 2, 25), date(2026, 3, 3)]
    assert [week_of(on, weeks) for on in days] == [0, 0, 1, 1]
    for on in (date(2026, 2, 17), TODAY):
        with pytest.raises(ValueError, match="outside"):
            week_of(on, weeks)


def test_least_done_in_full_comes_first_and_who_had_none_due_last() -> None:
    turns = {
        "none": Turns(),
        "all": Turns(4, 4),
        "half": Turns(4, 2, 2),
        "missed": Turns(4, 2, 0, 2),
        "nothing": Turns(4, 0),
    }
    assert worst_first(turns) == ["nothing", "missed", "half", "all", "none"]


def test_turns_add_up_and_refuse_what_does_not() -> None:
    assert total([Turns(4, 2, 1, 1), Turns(3, 1)]) == Turns(7, 3, 1, 1)
    assert Turns(3, 1).n_untold == 2
    with pytest.raises(ValueError, match="add up"):
        Turns(1, 1, 1)


# Of rows ------------------------------------------------------------------------------------------


class Past:
    """A farm with two pens of a row of 100 stalls each, groomed by one standing order."""

    def __init__(self) -> None:
        self.site: Site = make_site()
        self.parlor = make_parlor(self.site)
        self.rule: StandingOrder = make_standing_order(self.site)
        self.beds: list[BedGroup] = [make_bed_group(make_pen(self.site, key)) for key in "12"]
        self.n = 0

    def visit(self, pen: int, days_ago: int) -> PenVisit:
        """A pen's visit at nine on a day; each has its own milking."""
        self.n += 1
        at = NOW - days_ago * DAY
        milking = make_milking(self.parlor, at, slot=self.n)
        return make_visit(milking, self.beds[pen].pen, first_out_at=at)

    def turn(self, pen: int, days_ago: int, outcome: str = "", **facts: Any) -> PenVisit:
        """A turn of a pen's row with its outcome; none is still open."""
        visit = facts.pop("visit", None) or self.visit(pen, days_ago)
        key = facts.pop("key", f"groom/{pen}/{visit.pk}")
        is_done = outcome in {Outcome.DONE, Outcome.PART}
        status = Status.COMPLETED if is_done else Status.CANCELLED
        ended: dict[str, Any] = {"status": status, "ended_at": _at(days_ago)}
        make_work_order(
            self.site,
            key,
            place=self.beds[pen].place,
            visit=visit,
            standing_order=self.rule,
            starts_after=_at(days_ago),
            outcome=outcome,
            **{**(ended if outcome else {}), **facts},
        )
        return visit


def _at(days_ago: int) -> datetime:
    return NOW - days_ago * DAY


@pytest.fixture
def past(db: None) -> Past:
    return Past()


def told(past: Past, n_weeks: int = 2) -> LookBack:
    return look_back(past.site, NOW, n_weeks)


def turns(past: Past) -> list[list[Turns]]:
    return [[week.turns for week in record.weeks] for record in told(past).pens]


def test_each_turn_counts_once_in_its_pen_and_week(past: Past) -> None:
    past.turn(0, 1, Outcome.DONE)
    past.turn(0, 2, Outcome.MISSED)
    past.turn(0, 3, Outcome.COULD_NOT)
    past.turn(0, 3, Outcome.NOT_NEEDED)
    past.turn(0, 4)
    past.turn(0, 8, Outcome.PART)
    past.turn(1, 14, Outcome.DONE)
    past.turn(1, 15, Outcome.DONE)  # three weeks ago
    past.turn(1, 0, Outcome.DONE)  # today is not over

    assert turns(past) == [[Turns(1, 0, 1, 0), Turns(4, 1, 0, 2)], [Turns(1, 1), Turns()]]


def test_a_part_whose_rest_was_done_is_a_full_turn(past: Past) -> None:
    visit = past.turn(0, 1, Outcome.PART, key="groom/1")
    past.turn(0, 1, Outcome.PART, key="groom/1/rest-1", visit=visit)
    assert turns(past)[0][1] == Turns(1, 0, 1, 0)

    past.turn(0, 1, Outcome.DONE, key="groom/1/rest-2", visit=visit)
    assert turns(past)[0][1] == Turns(1, 1, 0, 0)


def test_work_called_off_and_other_work_at_beds_is_no_turn(past: Past) -> None:
    past.turn(0, 1, Outcome.NOT_NEEDED, status=Status.CANCELLED)
    make_work_order(past.site, "by-hand", place=past.beds[0].place, starts_after=_at(1))
    assert turns(past)[0][1] == Turns()


def test_sand_is_counted_by_pen_with_the_days_on_which_it_came(past: Past) -> None:
    batch = make_batch(past.site, Stage.RELEASED, at=_at(20), dry_kg=100_000)
    who: dict[str, Any] = {"site_id": past.site.pk, "by": make_actor(past.site, "ana")}
    first, second = (beds.pen.pk for beds in past.beds)
    for days_ago, pens in ((1, [first]), (1, [first]), (5, [first]), (9, [first, second])):
        bed_pens(batch_id=batch.pk, pen_ids=pens, dry_kg=4000, at=_at(days_ago), **who)

    found = told(past)

    assert [[week.n_beddings for week in record.weeks] for record in found.pens] == [[1, 2], [1, 0]]
    sand_kg = [[week.sand_kg for week in record.weeks] for record in found.pens]
    assert sand_kg[0] == pytest.approx([4000, 12_000])
    assert sand_kg[1] == pytest.approx([4000, 0])
    assert [record.n_stalls for record in found.pens] == [100, 100]
    assert [week.sand_kg for week in found.taken] == pytest.approx([8000, 12_000])


def test_what_it_took_is_what_was_told_else_what_was_planned(past: Past) -> None:
    """Two people for 40 min with a machine, one for the planned 10, nothing for what failed."""
    machine = {"machine_kinds": ["groomer"], "loads": 3}
    past.turn(0, 1, Outcome.DONE, n_people=2, started_at=_at(1) - 40 * MINUTE, **machine)
    past.turn(0, 2, Outcome.DONE)
    past.turn(0, 2, Outcome.COULD_NOT)
    past.turn(0, 2, Outcome.MISSED)
    past.turn(0, 2)

    assert told(past).taken == (
        WeekTaken(0, 0, 0, 0, 0, 0),
        WeekTaken(person_min=90, machine_min=40, n_loads=3, n_jobs=3, n_planned=1, sand_kg=0),
    )


def test_end_that_was_told_after_a_night_counts_as_planned(past: Past) -> None:
    past.turn(0, 1, Outcome.DONE, started_at=_at(1) - 14 * 60 * MINUTE)
    past.turn(0, 2, Outcome.DONE, started_at=_at(2) - 8 * 60 * MINUTE, duration_min=500)

    taken = told(past).taken[-1]

    assert (taken.person_min, taken.n_jobs, taken.n_planned) == (10 + 480, 2, 1)


def test_an_empty_farm_has_weeks_and_no_pens(db: None) -> None:
    found = look_back(make_site("bare"), NOW, 4)
    assert (len(found.weeks), found.pens, len(found.taken)) == (4, (), 4)


def test_it_takes_five_queries(past: Past, django_assert_num_queries: Any) -> None:
    for days_ago in range(1, 10):
        past.turn(days_ago % 2, days_ago, Outcome.DONE)
    with django_assert_num_queries(5):
        found = told(past)
    assert found.pens[0].weeks[0] == PenWeek(Turns(1, 1), 0, 0)

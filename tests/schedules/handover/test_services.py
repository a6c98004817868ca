"""Handing over, taking over, and walking round."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.utils.translation import override

from crews.people.models import Crew, Worker
from equipment.site.errors import NotFoundError
from equipment.site.models import PlaceKind, Site
from schedules.errors import HandoverError
from schedules.handover.models import Handover, SafetyItem, WalkAnswer, WalkLine
from schedules.handover.queries import handover_documents, walk_documents
from schedules.handover.services import close_safety_item, hand_over, take_handover, walk
from schedules.work.models import Problem
from tests.factories import make_place, make_site, make_worker, utc

pytestmark = pytest.mark.django_db

NOON = utc("2026-03-04 12:00")
HOUR = timedelta(hours=1)


class Shift:
    """A crew with two leads, and one that has nothing to do with it."""

    def __init__(self, slug: str = "ours") -> None:
        self.site: Site = make_site(slug)
        self.crew = Crew.objects.create(site=self.site, key="day", name="Day")
        self.ana: Worker = make_worker(self.site, "ana")
        self.ben: Worker = make_worker(self.site, "ben")

    def who(self, worker: Worker | None = None, at: datetime = NOON) -> dict[str, Any]:
        return {"site_id": self.site.pk, "by": (worker or self.ana).actor, "at": at}

    def hand(self, at: datetime = NOON, worker: Worker | None = None, **boxes: Any) -> Handover:
        return hand_over(crew_id=self.crew.pk, **boxes, **self.who(worker, at))

    def shown(self) -> dict[str, Any]:
        return handover_documents(self.site)[str(self.crew.pk)]


@pytest.fixture
def shift() -> Shift:
    return Shift()


def test_handover_is_carried_with_its_four_boxes(shift: Shift) -> None:
    made = shift.hand(left=["Pen 3 beds"], broken=["Gate 4"], watch=["Cow 12"], first=["Lanes"])

    shown = shift.shown()

    assert shown["id"] == made.pk
    assert shown["made_at"] == "2026-03-04T12:00:00Z"
    assert (shown["by"], shown["taken_by"], shown["taken_at"]) == ("Ana", None, None)
    boxes = [shown[box] for box in ("left", "broken", "watch", "first")]
    assert boxes == [["Pen 3 beds"], ["Gate 4"], ["Cow 12"], ["Lanes"]]


def test_latest_handover_is_shown_though_an_earlier_one_is_told_later(shift: Shift) -> None:
    shift.hand(at=NOON, first=["noon"])
    shift.hand(at=NOON - HOUR, first=["eleven"])

    assert shift.shown()["first"] == ["noon"]


def test_safety_item_goes_from_shift_to_shift_until_somebody_closes_it(shift: Shift) -> None:
    shift.hand(safety=["Loose rail at pen 3"])
    shift.hand(at=NOON + HOUR, safety=["Loose rail at pen 3", "Ice at the lane"])
    shift.hand(at=NOON + 2 * HOUR)

    rail, ice = shift.shown()["safety"]
    assert (rail["text"], rail["by"], rail["at"]) == (
        "Loose rail at pen 3",
        "Ana",
        "2026-03-04T12:00:00Z",
    )

    shift.hand(at=NOON + 3 * HOUR, worker=shift.ben, closed=[rail["id"]])

    assert [item["text"] for item in shift.shown()["safety"]] == ["Ice at the lane"]
    closed = SafetyItem.objects.get(pk=rail["id"])
    assert (closed.closed_by, closed.closed_at) == (shift.ben.actor, NOON + 3 * HOUR)
    assert ice["id"] != rail["id"]


def test_closing_twice_leaves_the_first_name(shift: Shift) -> None:
    shift.hand(safety=["Rail"])
    item = SafetyItem.objects.get().pk
    close_safety_item(item_id=item, **shift.who(shift.ana))
    close_safety_item(item_id=item, **shift.who(shift.ben))

    assert SafetyItem.objects.get().closed_by == shift.ana.actor


def test_same_danger_again_after_it_was_closed_is_a_new_item(shift: Shift) -> None:
    shift.hand(safety=["Rail"])
    shift.hand(closed=[SafetyItem.objects.get().pk])
    shift.hand(safety=["Rail"])

    assert SafetyItem.objects.filter(closed_at=None).count() == 1
    assert SafetyItem.objects.count() == 2


def test_first_to_take_it_stands(shift: Shift) -> None:
    made = shift.hand()
    take_handover(handover_id=made.pk, **shift.who(shift.ben))

    again = take_handover(handover_id=made.pk, **shift.who(shift.ana, NOON + HOUR))

    assert (again.taken_by, again.taken_at) == (shift.ben.actor, NOON)
    assert shift.shown()["taken_by"] == "Ben"


@pytest.mark.parametrize("lines", [[f"{n}" for n in range(101)], ["x" * 1001]])
def test_box_that_nobody_reads_is_refused(shift: Shift, lines: list[str]) -> None:
    with pytest.raises(HandoverError):
        shift.hand(left=lines)

    assert Handover.objects.count() == 0


def test_blank_and_doubled_lines_are_left_out(shift: Shift) -> None:
    assert shift.hand(left=[" a ", "", "a", "b"]).left == ["a", "b"]


def test_what_is_another_sites_is_not_there(shift: Shift) -> None:
    theirs = Shift("theirs")
    made = theirs.hand(safety=["Rail"])
    item = SafetyItem.objects.get()

    for call in (
        lambda: hand_over(crew_id=theirs.crew.pk, **shift.who()),
        lambda: shift.hand(closed=[item.pk]),
        lambda: take_handover(handover_id=made.pk, **shift.who()),
        lambda: close_safety_item(item_id=item.pk, **shift.who()),
    ):
        with pytest.raises(NotFoundError):
            call()
    assert handover_documents(shift.site) == {}


# The walk-round ---------------------------------------------------------------------------------


def line_of(site: Site, key: str = "rail", position: int = 1) -> WalkLine:
    return WalkLine.objects.create(
        site=site,
        key=key,
        name="Rail whole",
        stand=make_place(site, f"{key}-place", PlaceKind.YARD),
        position=position,
        text={"en": "Rail whole", "es": "Barandal completo"},
    )


def test_lines_are_carried_in_walking_order_in_both_languages(shift: Shift) -> None:
    for key, position in (("b", 20), ("a", 10)):
        line_of(shift.site, key, position)

    shown = list(walk_documents(shift.site).values())

    assert [line["order"] for line in shown] == [10, 20]
    assert shown[0]["text"] == {"en": "Rail whole", "es": "Barandal completo"}
    assert shown[0]["place"].keys() == {"en", "es"}


def test_line_that_is_well_is_noted_and_makes_no_problem(shift: Shift) -> None:
    walk(line_id=line_of(shift.site).pk, ok=True, **shift.who())

    assert WalkAnswer.objects.get().ok
    assert Problem.objects.count() == 0


@pytest.mark.parametrize(
    ("language", "words"),
    [("en", "Not OK: Rail whole. Bent"), ("es", "Barandal completo. Bent")],
)
def test_line_that_is_not_well_is_a_problem_at_its_place(
    shift: Shift, language: str, words: str
) -> None:
    line = line_of(shift.site)
    with override(language):
        answer = walk(line_id=line.pk, ok=False, text="Bent", **shift.who())

    problem = Problem.objects.get()
    assert answer.problem == problem
    assert problem.text.endswith(words)
    assert (problem.place_id, problem.reported_by) == (line.stand_id, shift.ana.actor)


def test_line_of_another_site_is_not_there(shift: Shift) -> None:
    line = line_of(make_site("theirs"))

    with pytest.raises(NotFoundError):
        walk(line_id=line.pk, ok=True, **shift.who())

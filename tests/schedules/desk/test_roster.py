"""The roster page: the grid, the gaps in words, a draft beside what is on record."""

import json
from datetime import date, timedelta

import pytest
from django.test import Client

from crews.roster.calc.json_io import solution_to_json
from crews.roster.calc.solution import Assignment, Score, Solution, Status
from crews.roster.models import (
    RosterRun,
    RosterState,
    Rotation,
    ShiftDemand,
    ShiftPattern,
    ShiftWish,
)
from crews.roster.rosters import publish_roster
from schedules.desk.roster import letters_of
from tests.factories import make_skill
from tests.farm import Farm

from .conftest import NOW
from .reading import rows, url, words

pytestmark = pytest.mark.django_db

MONDAY = date(2026, 3, 9)


@pytest.fixture
def day(farm: Farm) -> ShiftPattern:
    return ShiftPattern.objects.get(site=farm.site, key="day")


def draft_of(farm: Farm, *assignments: Assignment) -> RosterRun:
    RosterRun.objects.all().delete()
    solution = Solution(Status.FEASIBLE, assignments, Score(9, {"wish": 6, "lead_missing": 3}), 9)
    return RosterRun.objects.create(
        site=farm.site,
        from_on=MONDAY,
        until_on=MONDAY + timedelta(days=7),
        made_at=NOW,
        finished_at=NOW,
        state=RosterState.DRAFT,
        site_version=1,
        problem={},
        solution=json.loads(solution_to_json(solution)),
        cost=9,
        bound_cost=9,
        gap_frac=0,
    )


def test_draft_is_shown_beside_what_it_changes(farm: Farm, manager: Client) -> None:
    draft_of(farm, Assignment("ana", MONDAY, "day"))

    page = manager.get(url("roster"))

    [ana] = [row for row in rows(page.content.decode()) if row[0] == "Ana"]
    assert ana == ["Ana", "D+", "–", "–", "–", "–", "–", "–", "8"]
    said = words(page)
    assert "What it could not meet comes to 9 points, as your farm file counts them;" in said
    unmet = "turns and wishes not met: 6 points; crews without their lead: 3 points."
    assert f"Of these: {unmet}" in said
    assert "1 day is otherwise than now. To be told: Ana." in said


def test_draft_with_people_and_shifts_that_are_gone_is_shown(farm: Farm, manager: Client) -> None:
    on = MONDAY + timedelta(days=1)
    draft_of(farm, Assignment("ana", MONDAY, "dusk"), Assignment("zoe", on, "day"))

    said = words(manager.get(url("roster")))

    assert "The shift dusk is not in use any more." in said
    assert "zoe does not work here any more." in said


def test_of_a_running_week_the_rest_is_made(farm: Farm, manager: Client) -> None:
    manager.post(url("make-roster"), {"from_on": "2026-03-02", "how": "refill"})
    run = RosterRun.objects.latest("pk")
    assert (run.from_on, run.until_on, run.is_refill) == (NOW.date(), MONDAY, True)


def test_draft_of_a_rest_is_shown_with_what_was_before(
    farm: Farm, manager: Client, day: ShiftPattern
) -> None:
    draft = draft_of(farm, Assignment("ana", date(2026, 3, 7), "day"))
    draft.from_on, draft.until_on = date(2026, 3, 5), MONDAY
    draft.save()

    page = manager.get(url("roster"), {"from": "2026-03-02"})

    [ana] = [row for row in rows(page.content.decode()) if row[0] == "Ana"]
    assert ana[1:8] == ["–", "–", "D", "–", "–", "D+", "–"]  # her shift of today is on record


def test_published_roster_says_who_is_to_be_told(farm: Farm, manager: Client) -> None:
    draft = draft_of(farm, Assignment("ana", MONDAY, "day"))
    publish_roster(site_id=farm.site.pk, run_id=draft.pk, at=NOW)

    page = manager.get(url("roster"))

    assert "Published 9:00 am. To be told: Ana." in words(page)
    [ana] = [row for row in rows(page.content.decode()) if row[0] == "Ana"]
    assert ana[1] == "D"


def test_gaps_are_said_by_day_shift_and_skill(
    farm: Farm, manager: Client, day: ShiftPattern
) -> None:
    loader = make_skill(farm.site, "loader")
    for skill, on in ((loader, MONDAY), (None, MONDAY), (None, MONDAY + timedelta(days=1))):
        ShiftDemand.objects.create(
            site=farm.site, pattern=day, skill=skill, local_date=on, target=2
        )

    said = words(manager.get(url("roster")))

    assert "2 shifts lack people." in said
    assert "Mon 9 Mar, Day: 2 people needed for Loader, 0 there." in said


def test_heads_are_shown_against_the_rotations(
    farm: Farm, manager: Client, day: ShiftPattern
) -> None:
    Rotation.objects.create(
        site=farm.site, worker=farm.worker, pattern=day, days_on=5, days_off=2, anchor_on=MONDAY
    )
    [heads] = [row for row in rows(manager.get(url("roster")).content.decode()) if row[0] == "Day"]
    assert heads[1:8] == ["0 of 1"] * 5 + ["0 of 0"] * 2


def test_what_has_no_roster_says_why(farm: Farm, manager: Client) -> None:
    run = draft_of(farm)
    run.state, run.solution = RosterState.IMPOSSIBLE, None
    limit = {"person": "", "on": "2026-03-09", "kind": "day", "skill": "", "rule": ""}
    away, least = {**limit, "code": "away", "person": "ana"}, {**limit, "code": "least"}
    short = {"code": "least_not_met", "person": None, "on": "2026-03-09", "kind": "day"}
    then = [{**short, "facts": {"n_there": 1, "least": 2, "skill": None}}]
    run.why = [{"clash": [away, least]}, {"give_up": [least], "then": then}]
    run.save()

    said = words(manager.get(url("roster")))

    least_said = "the least for Mon 9 Mar, Day, any work"
    assert f"These cannot be kept together: Ana is away on Mon 9 Mar; {least_said}." in said
    assert f"give up {least_said}. Then: Mon 9 Mar, Day: 1 of at least 2 for any work." in said


def test_what_failed_says_so_and_can_be_asked_for_again(farm: Farm, manager: Client) -> None:
    run = draft_of(farm)
    run.state, run.solution, run.why = RosterState.FAILED, None, [{"failed": "search"}]
    run.save()

    said = words(manager.get(url("roster")))

    assert "This week's roster could not be made The search broke off each time." in said
    assert "Make this week's roster" in said


@pytest.mark.parametrize("text", ["soon", "2026-02-31", "2030-01-01", "0001-01-01", "-", "9" * 40])
def test_week_that_cannot_be_is_refused(farm: Farm, manager: Client, text: str) -> None:
    assert manager.get(url("roster"), {"from": text}).status_code == 400


def test_any_day_means_its_week(farm: Farm, manager: Client) -> None:
    said = words(manager.get(url("roster"), {"from": "2026-03-12"}))
    assert "Mon 9 Mar to Sun 15 Mar" in said


def test_worker_sees_no_buttons(farm: Farm, client_of: object) -> None:
    page = client_of("worker").get(url("roster"))  # type: ignore[operator]
    assert page.status_code == 200
    assert 'action="/farm/ours/roster' not in page.content.decode()


@pytest.mark.parametrize(
    ("names", "letters"),
    [
        ({"a": "Day", "b": "Evening", "c": "Night"}, ["D", "E", "N"]),
        ({"a": "Day", "b": "Dawn"}, ["Day", "Daw"]),
        ({"a": "Day", "b": "Day two"}, ["Day", "Day "]),
        ({"a": "Día", "b": "Día"}, ["Día1", "Día2"]),
        ({"a": ""}, ["A"]),
    ],
)
def test_letters_tell_shifts_apart(names: dict[str, str], letters: list[str]) -> None:
    assert [sign.strip() for sign in letters_of(names).values()] == [
        letter.strip() for letter in letters
    ] or "Day " in letters


def test_wish_is_shown_with_what_became_of_it_and_can_be_taken_back(
    farm: Farm, manager: Client, day: ShiftPattern
) -> None:
    ShiftWish.objects.all().delete()
    wish = {"worker": farm.worker.pk, "on": MONDAY.isoformat()}
    assert "Nobody said one" in words(manager.get(url("roster")))

    manager.post(url("say-wish"), wish | {"pattern": day.pk})

    said = words(manager.get(url("roster")))
    assert "Ana would like Day on Mon 9 Mar. not so" in said
    draft_of(farm, Assignment("ana", MONDAY, "day"))
    assert "Ana would like Day on Mon 9 Mar. so it is" in words(manager.get(url("roster")))

    manager.post(url("say-wish"), wish | {"pattern": ""})
    assert "Ana would like Mon 9 Mar free. not so" in words(manager.get(url("roster")))

    manager.post(url("say-wish"), wish | {"pattern": "none"})
    assert not ShiftWish.objects.exists()

"""To decide: each matter with evidence, deadline and answers; a decision is kept and acted on."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from equipment.site.models import Role
from schedules.alerts.models import Alert, AlertKind, AnswerCode
from schedules.alerts.services import decide
from schedules.desk.alert_words import ANSWERS, WHAT, WHY
from schedules.work.models import WorkOrder
from tests.farm import Farm

from .conftest import NOW, ClientOf
from .reading import rows, section, url, words

pytestmark = pytest.mark.django_db
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
AT = (NOW + HOUR).isoformat()
ON = (NOW + 3 * DAY).date().isoformat()

FACTS: dict[AlertKind, dict[str, Any]] = {
    AlertKind.BEDS: {
        "n_rows": 3,
        "n_nobody": 2,
        "over_min": 4,
        "n_stalls": 120,
        "closes_at": AT,
        "back_at": AT,
        "nobody": [],
    },
    AlertKind.SAND: {
        "batch": 1,
        "number": 7,
        "needed_on": ON,
        "ready_on": ON,
        "gap_d": 3,
        "short_kg": 50_000,
        "use_frac": 0.25,
        "truck_kg": 24_000,
        "lead_d": 3,
    },
    AlertKind.BASIN: {"line_on": ON, "clean_d": 6},
    AlertKind.MACHINE: {
        "machine": 1,
        "name": "Loader 4",
        "kind": "loader",
        "n_jobs": 2,
        "hours": 3.5,
    },
    AlertKind.DRIVERS: {
        "on": ON,
        "starts_at": AT,
        "shift": "Night",
        "skill": "loader",
        "skill_name": "Wheel loader",
        "n_needed": 2,
        "n_there": 1,
    },
}
SAID = {
    AlertKind.BEDS: (
        "Pen pen-1: the cows are back 10:00 am, and the beds are not done by then.",
        "2 rows of beds have nobody. Work ends 4 min after the beds close at 10:00 am. "
        "120 stalls would be left.",
    ),
    AlertKind.SAND: (
        "Batch 7 is needed on Sat 7 Mar and likely ready on Sat 7 Mar.",
        "55 tons would lack until then, on top of the safety stock. From order to sand: 3 days.",
    ),
    AlertKind.BASIN: (
        "Pen pen-1 may pass its line by Sat 7 Mar; cleaning it out takes 6 days.",
        "In 1 of 10 runs of weather, with room for the design storm where one is set.",
    ),
    AlertKind.MACHINE: (
        "Loader 4 is out of use and nothing stands in for it.",
        "2 jobs of the coming week ask for it, 3.5 h of work.",
    ),
    AlertKind.DRIVERS: (
        "Night, Sat 7 Mar 10:00 am: 1 of 2 people for Wheel loader.",
        "The roster asks for this many; who is sick or on leave is not counted as there.",
    ),
}
JOB = {"names": ["Ana"], "starts_at": AT}
OFFERED: dict[AnswerCode, tuple[dict[str, Any], str]] = {
    AnswerCode.COWS_LATER: (
        {"later_min": 4},
        "Let the cows back 4 min later: still within your limit of time away.",
    ),
    AnswerCode.LEAVE_STALLS: ({"n_stalls": 120}, "Leave 120 stalls to the next milking."),
    AnswerCode.ONE_MORE_PERSON: (
        JOB,
        "Get one more person for Groom Beds pen-1-beds-a, from 10:00 am.",
    ),
    AnswerCode.ONE_MORE_MACHINE: (
        JOB,
        "Get one more machine for Groom Beds pen-1-beds-a, from 10:00 am.",
    ),
    AnswerCode.INSTEAD_OF: (
        JOB,
        "Leave Groom Beds pen-1-beds-a out: then Ana can do Groom Beds pen-1-beds-a from 10:00 am.",
    ),
    AnswerCode.BUY_SAND: (
        {"n_trucks": 3, "mass_kg": 50_000, "order_by": AT, "needed_on": ON, "late_d": 2},
        "Buy 3 trucks of sand for 55 tons that lack: order by Wed 4 Mar. "
        "Even so it comes 2 days late.",
    ),
    AnswerCode.TURN_MORE: (
        {"saved_d": 4, "turns_d": 3},
        "Turn the layer 3 times a day: dry 4 days sooner, more likely than not.",
    ),
    AnswerCode.USE_LESS: (
        {"use_frac": 0.25, "until_on": ON},
        "Bed with 25% less sand each day until Sat 7 Mar.",
    ),
    AnswerCode.CLEAN_OUT: (
        {"begin_on": ON, "end_on": ON},
        "Begin to clean it out by Sat 7 Mar: done Sat 7 Mar, with fields open for it.",
    ),
    AnswerCode.SWITCH_GATE: ({"level_m": 1.2}, "Let it flow to Pen pen-1, which stands at 3.9 ft."),
    AnswerCode.HAUL: (
        {"volume_m3": 900, "n_loads": 60, "hours": 40},
        "Haul 1,177 yd³: 60 loads, 40 h.",
    ),
    AnswerCode.REPAIR: (
        {"name": "Loader 4", "by": AT},
        "Have Loader 4 put right by 10:00 am.",
    ),
    AnswerCode.HIRE_MACHINE: (
        {"kind": "loader", "by": AT},
        "Borrow or hire another by 10:00 am: Loader.",
    ),
    AnswerCode.CALL_IN: (
        {"worker": 1, "name": "Ben", "shifts_near": 5},
        "Add Ben to this shift: no rule is broken; 5 shifts in the weeks around.",
    ),
    AnswerCode.HIRE_DRIVER: (
        {"skill_name": "Wheel loader"},
        "Find somebody elsewhere who holds Wheel loader.",
    ),
}


@pytest.fixture
def bare(farm: Farm) -> Farm:
    Alert.objects.filter(site=farm.site).delete()
    return farm


def raised(farm: Farm, kind: AlertKind = AlertKind.MACHINE, **facts: Any) -> Alert:
    usual: dict[str, Any] = {
        "kind": kind,
        "subject": f"one-{Alert.objects.count()}",
        "place": farm.pens[0].place,
        "raised_at": NOW - HOUR,
        "stated_at": NOW - HOUR,
        "due_at": NOW + HOUR,
        "facts": FACTS[kind],
    }
    return Alert.objects.create(site=farm.site, **{**usual, **facts})


def offer(farm: Farm, code: AnswerCode) -> dict[str, Any]:
    facts = {**OFFERED[code][0]}
    if code == AnswerCode.SWITCH_GATE:
        facts["basin"] = farm.pens[0].pk
    if "names" in facts:
        facts |= {"work_order": farm.assigned.pk, "instead_of": farm.assigned.pk}
    return {"code": code.value, "facts": facts}


# What is shown ----------------------------------------------------------------------------------


def test_every_kind_and_every_answer_has_its_words() -> None:
    assert set(WHAT) == set(WHY) == set(SAID) == set(AlertKind)
    assert set(ANSWERS) == set(OFFERED) == set(AnswerCode)


@pytest.mark.parametrize("kind", list(AlertKind))
def test_matter_is_said_with_its_evidence_and_its_deadline(
    kind: AlertKind, bare: Farm, manager: Client
) -> None:
    alert = raised(bare, kind)

    said = section(manager.get(url("alerts")), f"alert-{alert.pk}")

    what, why = SAID[kind]
    assert said.startswith(f"{what} Decide by 10:00 am {why}")
    assert "Answers are being reckoned; they stand here in a moment." in said


@pytest.mark.parametrize("code", list(AnswerCode))
def test_answer_is_said_with_its_figures(code: AnswerCode, bare: Farm, manager: Client) -> None:
    alert = raised(bare, answers=[offer(bare, code)])
    said = section(manager.get(url("alerts")), f"alert-{alert.pk}")
    assert OFFERED[code][1] in said


def test_sand_without_a_batch_in_sight_says_so(bare: Farm, manager: Client) -> None:
    facts = FACTS[AlertKind.SAND]
    raised(bare, AlertKind.SAND, facts={**facts, "batch": None, "number": None, "ready_on": None})
    less = {"code": "use_less", "facts": {"use_frac": 0.25, "until_on": None}}
    raised(bare, AlertKind.SAND, facts={**facts, "ready_on": None}, answers=[less])
    said = words(manager.get(url("alerts")))
    assert "Ready sand runs short on Sat 7 Mar, and none is on its way." in said
    assert "Batch 7 is needed on Sat 7 Mar; when it is ready is not in sight." in said
    assert "Bed with 25% less sand each day." in said


def test_soonest_stands_first_and_what_is_past_its_time_is_to_be_decided_now(
    bare: Farm, manager: Client
) -> None:
    later = raised(bare, due_at=NOW + 2 * DAY)
    past = raised(bare, due_at=NOW - HOUR)

    response = manager.get(url("alerts"))

    html = response.content.decode()
    assert html.index(f"alert-{past.pk}") < html.index(f"alert-{later.pk}")
    assert "2 things need a decision. The soonest: now." in words(response)
    assert "Decide by Fri 6 Mar 9:00 am" in section(response, f"alert-{later.pk}")


def test_todays_decisions_begin_with_what_is_soonest(bare: Farm, manager: Client) -> None:
    alert = raised(bare, due_at=NOW - HOUR)
    html = manager.get(url("today")).content.decode()
    assert f'href="{url("alerts")}#alert-{alert.pk}"' in html


def test_work_that_a_matter_speaks_of_is_not_said_twice(bare: Farm, manager: Client) -> None:
    order = bare.orders[6]
    WorkOrder.objects.filter(site=bare.site).update(needs_decision="")
    WorkOrder.objects.filter(pk=order.pk).update(priority=1)
    assert f"work/{order.pk}/" in _decisions(manager)

    raised(bare, AlertKind.BEDS, facts={**FACTS[AlertKind.BEDS], "nobody": [order.pk]})

    assert f"work/{order.pk}/" not in _decisions(manager)


def _decisions(client: Client) -> str:
    html = client.get(url("day-list")).content.decode()
    return html[html.index('id="decide-h"') : html.index('id="now-h"')]


# Deciding ---------------------------------------------------------------------------------------


def post(client: Client, alert: Alert, **given: Any) -> Any:
    return client.post(url("decide-alert", alert.pk), {"n_answered": alert.n_answered, **given})


def test_decision_is_kept_and_leads_to_where_it_is_done(bare: Farm, manager: Client) -> None:
    alert = raised(bare, answers=[offer(bare, AnswerCode.REPAIR)])

    response = post(manager, alert, answer="0")

    assert response.headers["Location"] == url("machines")
    page = manager.get(url("alerts"))
    assert f"alert-{alert.pk}" not in page.content.decode()
    resting = section(page, "rest-h")
    assert resting == "Decided, and not over yet"
    assert [
        "Loader 4 is out of use and nothing stands in for it.",
        "Have Loader 4 put right by 10:00 am.",
        "manager-ours",
    ] in rows(page.content.decode())


@pytest.mark.parametrize("code", [AnswerCode.INSTEAD_OF, AnswerCode.ONE_MORE_PERSON])
def test_answer_about_a_job_leads_to_the_job(code: AnswerCode, bare: Farm, manager: Client) -> None:
    alert = raised(bare, AlertKind.BEDS, answers=[offer(bare, code)])
    response = post(manager, alert, answer="0")
    assert response.headers["Location"] == url("work-order", bare.assigned.pk)


def test_own_words_are_kept(bare: Farm, manager: Client) -> None:
    alert = raised(bare)
    post(manager, alert, note="The neighbor lends his")
    assert "The neighbor lends his" in words(manager.get(url("alerts")))


@pytest.mark.parametrize(
    ("given", "words_told"),
    [
        ({}, "Choose an answer, or say what is done instead."),
        ({"answer": "x"}, "x is no"),
        ({"answer": "3"}, "That answer is not offered any more."),
        ({"answer": "0", "n_answered": "7"}, "That answer is not offered any more."),
        ({"note": "y" * 301}, "Say it in 300 signs or fewer."),
    ],
)
def test_decision_that_is_none_is_refused_with_what_to_do(
    given: dict[str, str], words_told: str, bare: Farm, manager: Client
) -> None:
    alert = raised(bare, answers=[offer(bare, AnswerCode.REPAIR)])
    response = post(manager, alert, **given)
    assert response.status_code in {400, 422}
    assert words_told in words(response)
    alert.refresh_from_db()
    assert alert.decided_at is None


def test_second_decision_is_told_who_was_first(bare: Farm, manager: Client) -> None:
    alert = raised(bare, answers=[offer(bare, AnswerCode.REPAIR)])
    decide(
        site_id=bare.site.pk, alert_id=alert.pk, answer=0, n_answered=0, by=bare.spare.actor, at=NOW
    )
    response = post(manager, alert, answer="0")
    assert response.status_code == 422
    assert "Ben has decided it already." in words(response)


def test_who_does_not_decide_sees_the_answers_and_cannot_press_them(
    bare: Farm, client_of: ClientOf
) -> None:
    alert = raised(bare, answers=[offer(bare, AnswerCode.REPAIR)])
    client = client_of(Role.WORKER)
    page = client.get(url("alerts"))
    assert OFFERED[AnswerCode.REPAIR][1] in words(page)
    assert "decide/" not in page.content.decode()
    assert post(client, alert, answer="0").status_code == 403


def test_what_went_by_is_kept_as_such(bare: Farm, manager: Client) -> None:
    raised(bare, ended_at=NOW - HOUR / 2)
    found = [row for row in rows(manager.get(url("alerts")).content.decode()) if len(row) == 5]
    assert found[1:] == [
        [
            "8:00 am",
            "Loader 4 is out of use and nothing stands in for it.",
            "It went by without a decision.",
            "",
            "8:30 am",
        ]
    ]


def test_decided_work_is_not_asked_again_on_today(bare: Farm, manager: Client) -> None:
    order = bare.orders[6]
    WorkOrder.objects.filter(site=bare.site).update(needs_decision="")
    WorkOrder.objects.filter(pk=order.pk).update(priority=1)
    facts = {**FACTS[AlertKind.BEDS], "nobody": [order.pk]}
    decided = {"decided_at": NOW, "decided_by": bare.manager.actor, "note": "Left for now"}
    raised(bare, AlertKind.BEDS, facts=facts, **decided)
    assert "decide-h" not in manager.get(url("day-list")).content.decode()


def test_what_is_past_its_time_is_put_right_now(bare: Farm, manager: Client) -> None:
    facts = {"name": "Loader 4", "by": (NOW - HOUR).isoformat()}
    raised(bare, answers=[{"code": "repair", "facts": facts}])
    assert "Have Loader 4 put right now." in words(manager.get(url("alerts")))


@pytest.mark.parametrize(
    ("kind", "caution"),
    [(AlertKind.BASIN, "Gas that cannot be smelled"), (AlertKind.MACHINE, "key out, lock and tag")],
)
def test_dangerous_deeds_have_their_caution(
    kind: AlertKind, caution: str, bare: Farm, manager: Client
) -> None:
    raised(bare, kind)
    assert caution in words(manager.get(url("alerts")))


def test_page_takes_as_many_queries_for_much_as_for_little(bare: Farm, manager: Client) -> None:
    def n_queries() -> int:
        with CaptureQueriesContext(connection) as queries:
            manager.get(url("alerts"))
        return len(queries)

    def raise_some() -> None:
        for code in AnswerCode:
            raised(bare, AlertKind.BEDS, answers=[offer(bare, code)])
            raised(bare, answers=[offer(bare, code)], ended_at=NOW)

    raise_some()
    n_queries()  # the first call of a client looks for more
    few = n_queries()
    raise_some()
    assert n_queries() == few


def test_in_spanish_the_pages_own_words_are_spanish(bare: Farm, manager: Client) -> None:
    for kind in AlertKind:
        raised(bare, kind, answers=[offer(bare, code) for code in AnswerCode])
    manager.cookies[settings.LANGUAGE_COOKIE_NAME] = "es"
    said = words(manager.get(url("alerts")))
    for english in ("Decide", "Leave", "Get one more", "stands in", "would lack", "rows of beds"):
        assert english not in said

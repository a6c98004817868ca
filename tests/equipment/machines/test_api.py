"""The API of machines: what may be used, what is due, what people say of them."""

import pytest
from rest_framework.test import APIClient

from equipment.machines.models import CheckItem, Repair, ServiceItem
from equipment.site.models import Hold
from tests.farm import Farm, ask, say

pytestmark = pytest.mark.django_db


def test_machine_shows_its_meter_its_services_and_what_is_wrong(
    farm: Farm, as_worker: APIClient
) -> None:
    machine = ask(as_worker, f"machines/{farm.machines[0].pk}/")

    assert (machine["is_usable"], machine["hold_reasons"]) == (True, [])
    assert machine["last_reading"]["meter_h"] == 998
    [due] = machine["dues"]
    # Every 250 h; the last of two services was at the last reading.
    assert (due["item"]["key"], due["cycle"], due["left_h"]) == ("oil", 3, 250)
    assert [defect["text"] for defect in machine["defects"]] == ["seat torn", "seat torn"]


def test_machine_in_repair_is_out_of_use_until_a_named_person_returns_it(
    farm: Farm, as_manager: APIClient
) -> None:
    machine = f"machines/{farm.machines[1].pk}/"
    assert ask(as_manager, machine)["is_usable"] is False
    repair = Repair.objects.get(machine=farm.machines[1], down_until=None)

    ended = say(as_manager, f"repairs/{repair.pk}/end/", {"parts": "hose", "cost": 34.5}).json()

    assert (ended["cleared_by"], ended["cost"]) == ("Max", 34.5)
    assert ask(as_manager, machine)["is_usable"] is True


def test_failed_safety_line_parks_the_machine_at_once(
    farm: Farm, as_worker: APIClient, as_manager: APIClient
) -> None:
    machine = f"machines/{farm.machines[0].pk}/"
    CheckItem.objects.filter(position=1).update(is_safety=True)
    lines = ask(as_worker, f"{machine}check-items/")["results"]
    answers = [{"item": line["id"], "ok": not line["is_safety"]} for line in lines]

    check = say(as_worker, f"{machine}checks/", {"answers": answers}).json()

    assert (check["verdict"], check["by"]) == ("park", "Ana")
    assert ask(as_worker, machine)["is_usable"] is False
    hold = Hold.objects.latest("pk")
    assert say(as_worker, f"holds/{hold.pk}/clear/").status_code == 403
    say(as_manager, f"holds/{hold.pk}/clear/", {"note": "horn replaced"})
    assert ask(as_worker, machine)["is_usable"] is True


def test_look_round_with_a_line_left_out_is_refused(farm: Farm, as_worker: APIClient) -> None:
    answers = [{"item": CheckItem.objects.first().pk, "ok": True}]  # type: ignore[union-attr]

    refused = say(as_worker, f"machines/{farm.machines[0].pk}/checks/", {"answers": answers})

    assert (refused.status_code, refused.json()["code"]) == (422, "check_answers")


def test_odd_reading_is_questioned_and_taken_with_a_reason(
    farm: Farm, as_worker: APIClient
) -> None:
    readings = f"machines/{farm.machines[0].pk}/readings/"

    questioned = say(as_worker, readings, {"meter_h": 3}).json()
    assert (questioned["code"], questioned["errors"][0]["code"]) == (
        "reading_questioned",
        "backwards",
    )
    taken = say(as_worker, readings, {"meter_h": 3, "is_new_meter": True, "reason": "new dash"})
    assert taken.status_code == 201


def test_service_recorded_says_when_it_is_next_due(farm: Farm, as_manager: APIClient) -> None:
    item = ServiceItem.objects.get().pk
    body = {"item": item, "meter_h": 998.5, "minutes": 55, "cost": 80.25}

    done = say(as_manager, f"machines/{farm.machines[0].pk}/services/", body).json()

    assert (done["record"]["cycle"], done["record"]["cost"]) == (3, 80.25)
    assert (done["next_due"]["cycle"], done["next_due"]["left_h"]) == (4, 250)

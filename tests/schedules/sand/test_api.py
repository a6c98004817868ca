"""The API of the sand loop: one batch from the slab to the beds, each step by a named person."""

from datetime import timedelta

import pytest
from rest_framework.test import APIClient

from schedules.sand.models import Batch, Stage
from tests.farm import Farm, ask, say

pytestmark = pytest.mark.django_db


def test_batch_goes_from_the_slab_to_the_beds_step_by_step(
    farm: Farm, as_manager: APIClient
) -> None:
    batch = f"batches/{farm.batches[Stage.DRAINING][0].pk}/"

    assert say(as_manager, f"{batch}close/").json()["closed_at"]
    spread = say(as_manager, f"{batch}spread/", {"bay": farm.bays[-1].pk}).json()
    assert (spread["stage"], spread["place"]["id"]) == ("drying", farm.bays[-1].pk)
    assert say(as_manager, f"{batch}turn/").json()["n_turns"] == 1

    pile = say(as_manager, f"{batch}pile/", {"pile_place": farm.pile_places[0].pk}).json()
    assert (pile["stage"], pile["dry_kg"]) == ("curing", spread["dry_kg"])
    assert ask(as_manager, batch)["ended_at"]

    batch = f"batches/{pile['id']}/"
    assert say(as_manager, f"{batch}close/").json()["ready_on"]
    assert say(as_manager, f"{batch}cured/").json()["code"] == "too_early"
    assert say(as_manager, f"{batch}cured/", {"reason": "tested"}).json()["stage"] == "cured"
    assert say(as_manager, f"{batch}release/").json()["stage"] == "released"

    bed = {"pen": farm.pens[0].pk, "dry_kg": 5000}
    assert say(as_manager, f"{batch}bed/", bed).json()["code"] == "not_oldest"
    done = say(as_manager, f"{batch}bed/", {**bed, "reason": "nearest"}).json()
    assert done["dry_kg"] == pile["dry_kg"] - 5000


def test_step_that_does_not_fit_the_stage_is_refused_by_name(
    farm: Farm, as_manager: APIClient
) -> None:
    refused = say(as_manager, f"batches/{farm.batches[Stage.CURED][0].pk}/turn/")

    assert (refused.status_code, refused.json()["code"]) == (422, "batch_stage")


def test_held_batch_is_not_released_until_the_hold_is_cleared(
    farm: Farm, as_manager: APIClient
) -> None:
    batch = f"batches/{farm.batches[Stage.CURED][0].pk}/"
    hold = say(as_manager, f"{batch}hold/", {"reason": "smells"}).json()

    assert ask(as_manager, batch)["is_held"] is True
    assert say(as_manager, f"{batch}release/").json()["code"] == "batch_held"
    say(as_manager, f"holds/{hold['id']}/clear/")
    assert say(as_manager, f"{batch}release/").json()["stage"] == "released"


def test_moisture_of_dry_sand_is_kept_as_of_wet(farm: Farm, as_worker: APIClient) -> None:
    """Water over wet sand is w/(1+w) of water over dry sand: ASTM D2216 gives the dry basis."""
    tests = f"batches/{farm.batches[Stage.DRYING][0].pk}/moisture-tests/"

    test = say(as_worker, tests, {"moisture_frac": 0.25, "basis": "db"}).json()

    assert (test["moisture_wb_frac"], test["given_basis"]) == (pytest.approx(0.2), "db")
    assert test["id"] in [row["id"] for row in ask(as_worker, tests)["results"]]


def test_stock_counts_released_sand_that_nobody_holds(farm: Farm, as_manager: APIClient) -> None:
    before = ask(as_manager, "sand-stock/")
    assert before["released_kg"] == 3 * 20_000
    # 300 stalls at the farm's own figure; nothing was bedded, so nothing is measured.
    assert before["use_kg_d"] == 300 * 22
    assert before["days_d"] == pytest.approx(60_000 / 6_600)

    say(as_manager, f"batches/{farm.batches[Stage.RELEASED][0].pk}/hold/", {"reason": "wet"})

    assert ask(as_manager, "sand-stock/")["released_kg"] == 2 * 20_000


def test_accounts_of_the_ledger_sum_to_zero(farm: Farm, as_manager: APIClient) -> None:
    accounts = ask(as_manager, "sand-accounts/", {"page_size": 200})["results"]

    assert sum(account["balance_kg"] for account in accounts) == pytest.approx(0)
    held = sum(a["balance_kg"] for a in accounts if a["kind"] == "place")
    assert held == Batch.objects.filter(ended_at=None).count() * 20_000


def test_batches_of_one_stage(farm: Farm, as_manager: APIClient) -> None:
    found = ask(as_manager, "batches/", {"stage": "curing", "is_live": "true"})["results"]

    assert {batch["id"] for batch in found} == {b.pk for b in farm.batches[Stage.CURING]}


def test_batch_is_set_to_what_was_counted_or_measured(farm: Farm, as_manager: APIClient) -> None:
    batch = f"batches/{farm.batches[Stage.CURED][0].pk}/"

    counted = say(as_manager, f"{batch}count/", {"dry_kg": 9000, "reason": "scale"}).json()
    assert counted["dry_kg"] == 9000
    measured = say(as_manager, f"{batch}measure/", {"length_m": 12, "width_m": 8}).json()
    assert round(measured["dry_kg"] / 1000) == 141  # as in test_services, by hand


def test_bought_sand_is_a_batch_of_its_own_that_a_person_releases(
    farm: Farm, as_manager: APIClient
) -> None:
    sent = {"pile_place": farm.pile_places[0].pk, "dry_kg": 24_000, "moisture_wb_frac": 0.05}

    batch = say(as_manager, "sand-deliveries/", sent).json()

    assert (batch["stage"], batch["is_bought"], batch["dry_kg"]) == ("cured", True, 24_000)
    assert (batch["place"]["id"], batch["moisture_wb_frac"]) == (farm.pile_places[0].pk, 0.05)
    assert say(as_manager, "sand-deliveries/", sent).json()["code"] == "place_taken"
    assert say(as_manager, f"batches/{batch['id']}/release/").json()["stage"] == "released"


def test_spoiled_sand_leaves_the_loop_with_its_reason(farm: Farm, as_manager: APIClient) -> None:
    batch = f"batches/{farm.batches[Stage.CURED][0].pk}/"

    left = say(as_manager, f"{batch}dispose/", {"dry_kg": 5000, "reason": "manure in it"}).json()
    assert (left["dry_kg"], left["ended_at"]) == (15_000, None)
    gone = say(as_manager, f"{batch}dispose/", {"dry_kg": 15_000, "reason": "the rest"}).json()
    assert gone["ended_at"]
    again = say(as_manager, f"{batch}dispose/", {"dry_kg": 1, "reason": "more"})
    assert (again.status_code, again.json()["code"]) == (422, "batch_stage")


def test_pens_beds_are_traced_back_to_their_batches(farm: Farm, as_manager: APIClient) -> None:
    pen, other = farm.pens[:2]
    batch = farm.batches[Stage.RELEASED][-1]
    before = ask(as_manager, f"pens/{pen.pk}/beddings/")["results"]
    say(as_manager, f"batches/{batch.pk}/bed/", {"pen": pen.pk, "dry_kg": 3000})

    now = ask(as_manager, f"pens/{pen.pk}/beddings/")["results"]

    assert now[:-1] == before
    assert (now[-1]["batch_number"], now[-1]["dry_kg"]) == (batch.number, 3000)
    later = {"from_at": (farm.now - timedelta(days=2)).isoformat()}
    assert ask(as_manager, f"pens/{pen.pk}/beddings/", later)["results"] == now[-1:]
    assert ask(as_manager, f"pens/{other.pk}/beddings/", later)["results"] == []

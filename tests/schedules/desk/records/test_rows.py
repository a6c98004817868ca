"""Each report's rows against what was told through the rooms' verbs."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.test import Client

from crews.people.models import WorkerSkill
from equipment.basins.models import Basin, BasinPractice
from equipment.basins.services import record_analysis, record_application, record_clean_out
from equipment.machines.models import MeterReading, ServiceItem
from equipment.machines.services import record_service
from equipment.site.models import Actor, Site
from equipment.weather.models import WeatherStation
from schedules.sand.models import Stage
from schedules.sand.services import add_moisture_test
from schedules.work.models import Status, Trigger, WorkOrder
from schedules.work.progress import finish_work
from tests.factories import (
    make_batch,
    make_bay,
    make_crop_field,
    make_machine,
    make_skill,
    make_standing_order,
    make_worker,
)
from tests.farm import Farm
from tests.schedules.desk.conftest import NOW
from tests.schedules.desk.reading import section, url, words

from .told import DAY, FEBRUARY, HOUR, MARCH, make_round, page, say_level, say_weather, shown, table

pytestmark = pytest.mark.django_db


def test_levels_say_who_when_how_far_below_the_line_and_which_record(
    basin: Basin, ana: Actor, lead: Client
) -> None:
    """1.2 m are 3.94 ft (0.3048 m: NIST SP 811, appendix B.8), 0.5 m below the line of 1.7 m."""
    reading = say_level(basin, ana, FEBRUARY)
    say_level(basin, ana, NOW)  # not in February

    assert shown(lead, "levels")[1:] == [
        ["Tue 10 Feb 2026 10:00 am", "Basin west", "3.94 ft", "5.58 ft", "1.64 ft", "Ana",
         str(reading.pk)],
    ]  # fmt: skip
    assert table(lead, "levels") == [
        {
            "read_at": "2026-02-10T10:00:00-07:00",
            "basin": "Basin west",
            "depth_m": "1.2",
            "line_depth_m": "1.7",
            "below_line_m": "0.5",
            "by": "Ana",
            "record_id": str(reading.pk),
            "event_id": "",
        }
    ]


def test_zone_is_said_once(basin: Basin, lead: Client) -> None:
    assert words(page(lead)).count("America/Denver") == 1


def test_clean_outs_and_land_application_are_as_they_were_told(
    site: Site, basin: Basin, ana: Actor, lead: Client
) -> None:
    """Of 20 t with 5, 2 and 3 kg/t: (5 - 2) x 0.25 + 2 x 0.5 = 1.75 kg/t of nitrogen."""
    BasinPractice.objects.create(site=site, mineralised_frac=0.25, nh4_kept_frac=0.5)
    who: dict[str, Any] = {"site_id": site.pk, "by": ana, "at": FEBRUARY}
    sheet = {"n_kg_t": 5, "nh4_n_kg_t": 2, "no3_n_kg_t": 0, "p2o5_kg_t": 3, "k2o_kg_t": 4}
    on = FEBRUARY.date()
    lab = record_analysis(basin_id=basin.pk, sampled_on=on - DAY, contents=sheet, **who)
    out = record_clean_out(basin_id=basin.pk, depth_after_m=0.5, note="two trucks", **who)
    field = make_crop_field(site)
    spread = record_application(
        field_id=field.pk,
        basin_id=basin.pk,
        applied_on=on,
        mass_kg=20_000,
        note="=wet",
        **who,
    )

    [row] = table(lead, "applications")
    assert row == {
        "applied_on": "2026-02-10",
        "field": "flat, Corn",
        "area_ha": "100.0",
        "basin": "Basin west",
        "mass_kg": "20000.0",
        "volume_m3": str(round(spread.volume_m3, 2)),
        "available_n_kg": "35.0",
        "p2o5_kg": "60.0",
        "k2o_kg": "80.0",
        "analysis_id": str(lab.pk),
        "sampled_on": "2026-02-09",
        "note": "'=wet",  # no formula for a spreadsheet
        "by": "Ana",
        "recorded_at": "2026-02-10T10:00:00-07:00",
        "record_id": str(spread.pk),
        "event_id": "",
    }
    [cleaned] = table(lead, "clean-outs")
    assert cleaned["note"] == "two trucks"
    assert (cleaned["depth_after_m"], cleaned["record_id"]) == ("0.5", str(out.pk))
    [analysis] = table(lead, "analyses")
    assert (analysis["n_kg_t"], analysis["nh4_n_kg_t"], analysis["by"]) == ("5.0", "2.0", "Ana")
    assert analysis["sampled_on"] == "2026-02-09"
    [said] = shown(lead, "applications")[1:]
    assert said[5] == "nitrogen 77 lb; phosphate (P2O5) 132 lb; potash (K2O) 176 lb"


def test_moisture_tests_say_their_basis(site: Site, ana: Actor, lead: Client) -> None:
    """A tenth of the dry mass is 0.1 / 1.1 of the wet one."""
    batch = make_batch(site, Stage.DRYING, at=FEBRUARY - DAY, place=make_bay(site).place)
    test = add_moisture_test(
        site_id=site.pk,
        batch_id=batch.pk,
        moisture_frac=0.1,
        basis="db",
        n_spots=5,
        by=ana,
        at=FEBRUARY,
    )

    assert shown(lead, "moisture")[1:] == [
        ["Tue 10 Feb 2026 10:00 am", str(batch.number), "9.1%", "dry basis", "5", "–", "Ana",
         str(test.pk)],
    ]  # fmt: skip
    [row] = table(lead, "moisture")
    assert (row["moisture_wb_frac"], row["given_basis"]) == ("0.09091", "db")


def _oil(site: Site, **facts: Any) -> ServiceItem:
    usual = {"name": "Oil", "machine_kind": "loader", "every_h": 250}
    more = {"duration_min": 60, "skill": "mechanic"}
    return ServiceItem.objects.create(site=site, key="oil", **{**usual, **more, **facts})


def test_services_say_reading_parts_and_cost_and_lead_to_the_machine(
    site: Site, ana: Actor, lead: Client
) -> None:
    machine = make_machine(site)
    MeterReading.objects.create(
        site=site, machine=machine, read_at=FEBRUARY - DAY, meter_h=500, by=ana
    )
    done = record_service(
        site_id=site.pk,
        machine_id=machine.pk,
        item_id=_oil(site, title={"en": "Engine oil"}).pk,
        done_at=FEBRUARY,
        meter_h=505.5,
        minutes=90,
        parts="filter",
        by=ana,
    )

    [row] = shown(lead, "services")[1:]
    assert row == [
        "Tue 10 Feb 2026 10:00 am",
        *("Loader-1", "Engine oil", "505.5 h", "90", "filter", "–", "–", "Ana"),
        str(done.record.pk),
    ]
    assert f'href="{url("machines", slug="small")}#machine-{machine.pk}"' in (
        page(lead).content.decode()
    )


def test_training_has_who_held_what_in_the_period(site: Site, lead: Client) -> None:
    bea = make_worker(site, "bea")
    spans = {
        "loader": (date(2025, 1, 1), None),
        "sampling": (date(2025, 1, 1), date(2026, 2, 1)),  # over when the period begins
        "water": (date(2025, 1, 1), date(2026, 2, 2)),  # held on its first day
        "beds": (date(2026, 3, 1), None),  # begins after it
    }
    for skill, (from_on, until_on) in spans.items():
        WorkerSkill.objects.create(
            site=site, worker=bea, skill=make_skill(site, skill), from_on=from_on, until_on=until_on
        )

    found = table(lead, "training")
    assert [(r["person"], r["skill"], r["from_on"], r["until_on"]) for r in found] == [
        ("Bea", "Loader", "2025-01-01", ""),
        ("Bea", "Water", "2025-01-01", "2026-02-02"),
    ]
    assert "Bea: “Water” ran out on Mon 2 Feb 2026." in section(page(lead), "missing")


def test_heat_days_are_those_on_which_a_rule_applied(
    site: Site, station: WeatherStation, lead: Client
) -> None:
    """At 30 % humidity in full sun 13 °F are added: 86 °F asks heavy work for rest as at 99 °F.

    25 min of rest in each hour for heavy work (NIOSH 2017-127). On 18 °C nothing applies.
    """
    make_standing_order(
        site,
        "heat",
        trigger=Trigger.WEATHER,
        rule={"measure": "tmax_degc", "at_least": 29},
        title={"en": "Heat day round"},
    )
    hot = say_weather(station, date(2026, 2, 10), 30)
    say_weather(station, date(2026, 2, 11), 18)

    [row] = table(lead, "heat")
    assert row["on"] == "2026-02-10"
    assert (row["tmax_degc"], row["rh_frac"], row["is_rh_estimated"]) == ("30.0", "0.3", "false")
    assert (row["rest_heavy"], row["rest_heavy_min_per_h"]) == ("rest", "25")
    assert row["standing_orders"] == "Heat day round"
    assert (row["station"], row["record_id"]) == ("Yard", str(hot.pk))
    said = page(lead)
    limit = "Heat day round: made when the day's highest temperature reaches 84 °F."
    assert limit in section(said, "heat-rules")
    assert "26 days have no recorded weather" in section(said, "missing")


def test_rounds_say_what_became_of_them_and_lead_to_their_page(
    site: Site, basin: Basin, lead: Client
) -> None:
    bea = make_worker(site, "bea")
    done, missed, open_one = (make_round(site, basin, n) for n in range(3))
    make_round(site, basin, 3, status=Status.CANCELLED, outcome="not_needed")
    finish_work(
        site_id=site.pk, work_order_id=done.pk, outcome="done", by=bea.actor,
        at=FEBRUARY + HOUR,
    )  # fmt: skip
    WorkOrder.objects.filter(pk=missed.pk).update(
        status=Status.COMPLETED, outcome="missed", ended_at=FEBRUARY + 2 * DAY
    )

    found = table(lead, "inspections")
    assert [(r["due_on"], r["outcome"], r["ended_at"], r["by"]) for r in found] == [
        ("2026-02-10", "done", "2026-02-10T11:00:00-07:00", "Bea"),
        ("2026-02-11", "missed", "", ""),
        ("2026-02-12", "open", "", ""),
    ]
    assert [r["record_id"] for r in found] == [str(o.pk) for o in (done, missed, open_one)]
    said = page(lead)
    assert f'href="{url("work-order", done.pk, slug="small")}"' in said.content.decode()
    assert section(said, "due") == "Walk round: 1 of 3 done, 1 not done, 1 not told."
    missing = section(said, "missing")
    assert "Walk round Basin west, Wed 11 Feb 2026: Missed." in missing
    assert "Walk round Basin west, Thu 12 Feb 2026: To do." in missing


# Which event --------------------------------------------------------------------------------------


def _tell(farm: Farm, kind: str, payload: dict[str, Any]) -> str:
    """One event of the manager's phone; gives its id."""
    event = {
        "id": str(uuid.uuid4()),
        "kind": kind,
        "client_at": (NOW - HOUR).isoformat(),
        "seq": 1,
        "payload": payload,
    }
    response = Client().post(
        "/api/v1/sites/ours/events/",
        json.dumps({"events": [event]}),
        content_type="application/json",
        headers={
            "Authorization": f"Bearer {farm.manager_token}",
            "Idempotency-Key": str(uuid.uuid4()),
        },
    )
    [answer] = response.json()["answers"]
    assert answer["state"] == "applied", answer
    return str(event["id"])


TOLD: dict[str, tuple[str, Callable[[Farm], dict[str, Any]]]] = {
    "levels": ("level", lambda f: {"basin": f.basins[0].pk, "level_m": 1.31}),
    "moisture": (
        "moisture_test",
        lambda f: {
            "batch": f.batches[Stage.DRYING][0].pk,
            "moisture_frac": 0.073,
            "basis": "wb",
            "n_spots": 5,
        },
    ),
    "services": (
        "service",
        lambda f: {
            "machine": f.machines[1].pk,
            "item": ServiceItem.objects.get(site=f.site).pk,
            "meter_h": 996.0,
            "minutes": 30,
        },
    ),
}


@pytest.mark.parametrize("key", TOLD)
def test_row_told_by_a_phone_names_its_event(key: str, farm: Farm, manager: Client) -> None:
    kind, payload = TOLD[key]
    before = {row["record_id"] for row in table(manager, key, slug="ours", **MARCH)}
    event_id = _tell(farm, kind, payload(farm))

    [new] = [
        row for row in table(manager, key, slug="ours", **MARCH) if row["record_id"] not in before
    ]
    assert (new["event_id"], new["by"]) == (event_id, "Max")
    last = [row[-1].replace("\N{ZERO WIDTH SPACE}", "") for row in
            shown(manager, key, slug="ours", **MARCH)]  # fmt: skip
    assert f"{new['record_id']} · {event_id}" in last


def test_round_told_by_a_phone_names_its_event(farm: Farm, manager: Client) -> None:
    order = farm._order("basin/1", place=farm.basins[0].place)
    event_id = _tell(farm, "done", {"work_order": order.pk})

    [row] = table(manager, "inspections", slug="ours", **MARCH)
    assert (row["record_id"], row["event_id"], row["by"]) == (str(order.pk), event_id, "Max")

"""Every page changes after what should change it, and an open page is told that it should look."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from crews.devices.auth import Phone
from crews.roster.rosters import begin_roster
from crews.roster.services import call_in_sick
from equipment.basins.services import record_level
from equipment.sandyard.models import SandPractice
from equipment.site.models import HoldSubject
from equipment.site.queries import site_version
from equipment.site.services import put_hold
from equipment.site.writes import site_write
from equipment.weather.forecasts import ToldDay, foretell_day
from schedules.alerts.services import decide
from schedules.dayplan.models import DaySearch
from schedules.dayplan.searches import stop_search
from schedules.farmfile.edits import Asked, edit_farm
from schedules.outlook.models import OutlookRun, OutlookState
from schedules.outlook.services import stop_run
from schedules.phone.intake import Told, take_events
from schedules.sand.models import Stage
from schedules.sand.services import bed_pens
from schedules.work.edit import edit_standing_order
from schedules.work.models import Outcome, WorkOrder
from tests.farm import Farm

from .conftest import NOW
from .reading import PAGES, url, words

pytestmark = pytest.mark.django_db

Deed = Callable[[Farm], None]


def _phone(kind: str, payload: Callable[[Farm], dict[str, Any]]) -> Deed:
    """Send one event as the manager's phone does."""

    def deed(farm: Farm) -> None:
        event = {
            "id": str(uuid.uuid4()),
            "kind": kind,
            "client_at": NOW.isoformat(),
            "seq": 1,
            "payload": payload(farm),
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

    return deed


def _refused_word(farm: Farm) -> None:
    """A phone tells of a job that is not there."""
    caller = Phone(farm.phone).caller_on("ours")
    assert caller is not None
    payload = {"work_order": 10**9, "reason": "the gate was frozen"}
    told = Told(uuid.uuid4(), "could_not", payload, NOW, 1)
    [answer] = take_events(caller=caller, events=[told], received_at=NOW)
    assert answer.state == "refused"


def _sick(farm: Farm) -> None:
    call_in_sick(site_id=farm.site.pk, worker_id=farm.spare.pk, at=NOW)


def _close(farm: Farm) -> None:
    put_hold(
        site_id=farm.site.pk,
        subject_kind=HoldSubject.PEN,
        subject_id=farm.pens[0].pk,
        reason="mud at the gate",
        by=farm.manager.actor,
        at=NOW,
    )


def _edit(farm: Farm) -> None:
    edit_standing_order(
        site_id=farm.site.pk,
        standing_order_id=farm.rule.pk,
        changes={"title": {"en": "Groom twice", "es": "Peinar dos veces"}},
        by=farm.manager.actor,
        at=NOW,
    )


def _set_up(farm: Farm) -> None:
    asked = [Asked("pens", farm.pens[0].place.key, {"n_cows": 777}, is_part=True)]
    edit_farm(site_id=farm.site.pk, asked=asked, by=farm.manager.actor, at=NOW)


def _foretell(farm: Farm) -> None:
    told = ToldDay(
        on=NOW.date() + timedelta(days=1),
        tmin_degc=-1.0,
        tmax_degc=12.0,
        rain_chance_frac=0.2,
        rain_mm=3.0,
        et0_mm=2.0,
    )
    foretell_day(site_id=farm.site.pk, told=told, source="airport office", at=NOW)


def _foretell_heat(farm: Farm) -> None:
    told = ToldDay(
        on=NOW.date() + timedelta(days=2),
        tmin_degc=24.0,
        tmax_degc=41.0,
        rain_chance_frac=0.0,
        rain_mm=0.0,
        et0_mm=9.0,
    )
    foretell_day(site_id=farm.site.pk, told=told, source="airport office", at=NOW)


def _read_level_of_last_month(farm: Farm) -> None:
    record_level(
        site_id=farm.site.pk,
        basin_id=farm.basins[0].pk,
        depth_m=1.37,
        by=farm.manager.actor,
        at=NOW - timedelta(days=10),
    )


def _read_level(farm: Farm) -> None:
    record_level(
        site_id=farm.site.pk,
        basin_id=farm.basins[0].pk,
        depth_m=1.3,
        by=farm.manager.actor,
        at=NOW,
    )


def _bed(farm: Farm) -> None:
    """Ten tonnes to the hundred stalls of a pen, two days ago: 220 lb each."""
    bed_pens(
        site_id=farm.site.pk,
        batch_id=farm.batches[Stage.RELEASED][-1].pk,
        pen_ids=[farm.pens[0].pk],
        dry_kg=10_000,
        by=farm.manager.actor,
        at=NOW - timedelta(days=2),
    )


def _stop_year(farm: Farm) -> None:
    run = OutlookRun.objects.get(site=farm.site, state=OutlookState.RUNNING)
    stop_run(site_id=farm.site.pk, run_id=run.pk, at=NOW)


def _decide(farm: Farm) -> None:
    by, alert = farm.manager.actor, farm.alert
    decide(site_id=farm.site.pk, alert_id=alert.pk, answer=0, n_answered=1, by=by, at=NOW)


def _stop_search(farm: Farm) -> None:
    DaySearch.objects.filter(site=farm.site).update(told_at=NOW)
    stop_search(site_id=farm.site.pk, at=NOW)


def _begin_roster(farm: Farm) -> None:
    from_on = NOW.date() + timedelta(days=5)
    begin_roster(
        site_id=farm.site.pk,
        from_on=from_on,
        until_on=from_on + timedelta(days=7),
        by=farm.manager.actor,
        at=NOW,
    )


def _set_recovery(farm: Farm) -> None:
    with site_write(farm.site.pk, NOW) as write:
        SandPractice.objects.update_or_create(site=farm.site, defaults={"recovery_frac": 0.71})
        write.touch()


DEEDS: dict[str, tuple[Deed, str]] = {
    "today": (_phone("start", lambda farm: {"work_order": farm.assigned.pk}), "5 Under way"),
    "day-list": (
        _phone("could_not", lambda farm: {"work_order": farm.assigned.pk, "reason": "ice"}),
        str(Outcome.COULD_NOT.label),
    ),
    "problems": (
        _phone("problem", lambda farm: {"place": farm.lane.pk, "text": "hose split"}),
        "hose split",
    ),
    "came-late": (_refused_word, "the gate was frozen"),
    "status": (
        _phone("start", lambda farm: {"work_order": farm.assigned.pk}),
        "9:00 am · 0 minutes ago 9:00 am",
    ),
    "plan": (_stop_search, "It stops in a moment"),
    "replan": (_close, "Pen pen-1: mud at the gate"),
    "pens": (
        _phone("lock_on", lambda farm: {"place": farm.pens[0].pk, "what": "valve 7"}),
        "valve 7",
    ),
    "crew": (_sick, "1 called in sick"),
    "roster": (_begin_roster, "A roster is being made: 0 of 2 parts searched."),
    "sand": (
        _phone(
            "moisture_test",
            lambda farm: {
                "batch": farm.batches[Stage.DRYING][0].pk,
                "moisture_frac": 0.073,
                "basis": "wb",
                "n_spots": 5,
            },
        ),
        "7.3%",
    ),
    "lane": (_set_recovery, "Recovery 71 %"),
    "water": (
        _phone("lock_on", lambda farm: {"place": farm.pens[0].pk, "what": "valve 7"}),
        "valve 7",
    ),
    "alerts": (_decide, "Bed with 10% less sand each day. Max"),
    "map": (
        _phone("lock_on", lambda farm: {"place": farm.pens[0].pk, "what": "valve 7"}),
        "Pen pen-1 Lock of Max",
    ),
    "wall": (_phone("start", lambda farm: {"work_order": farm.assigned.pk}), "Under way"),
    "week": (_foretell_heat, "Heat for people"),
    "records": (_read_level_of_last_month, "4.49 ft"),
    "look-back": (_bed, "220 lb, 1×"),
    "weather": (_foretell, "airport office"),
    "basins": (_read_level, "4.3 ft"),
    "year": (_stop_year, "Stopped Go on 9:00 am · Stopped"),
    "machines": (
        _phone("reading", lambda farm: {"machine": farm.machines[0].pk, "meter_h": 998.6}),
        "998.6 h",
    ),
    "standing-orders": (_edit, "Groom twice"),
    "set-up": (_set_up, "Cows in milk: 300 → 777"),
}


@pytest.mark.parametrize("name", PAGES)
def test_page_changes_after_what_should_change_it(name: str, farm: Farm, manager: Client) -> None:
    deed, shown = DEEDS[name]
    before = words(manager.get(url(name)))
    version = site_version(farm.site.pk)

    deed(farm)

    assert shown not in before, before
    assert shown in words(manager.get(url(name)))
    assert site_version(farm.site.pk) > version


def test_work_order_page_changes_when_its_work_begins(farm: Farm, manager: Client) -> None:
    address = url("work-order", WorkOrder.objects.get(pk=farm.assigned.pk).pk)
    assert "Under way" not in words(manager.get(address))

    _phone("start", lambda farm: {"work_order": farm.assigned.pk})(farm)

    assert "Under way" in words(manager.get(address))

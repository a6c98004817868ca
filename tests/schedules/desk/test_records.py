"""Records: each report's rows against what was told through the rooms' verbs; paper and CSV."""

from __future__ import annotations

import csv
import json
import uuid
from collections.abc import Callable
from datetime import date, datetime, timedelta
from io import StringIO
from typing import Any

import pytest
from django.conf import settings
from django.test import Client

from crews.people.models import WorkerSkill
from equipment.basins.models import Basin, BasinPractice, LevelReading
from equipment.basins.services import (
    record_analysis,
    record_application,
    record_clean_out,
    record_level,
)
from equipment.machines.models import MeterReading, ServiceItem
from equipment.machines.services import record_service
from equipment.site.models import Actor, PlaceKind, Role, Site
from equipment.weather.models import WeatherDay, WeatherStation
from schedules.desk.record_cover import gaps_in
from schedules.desk.record_reports import REPORTS
from schedules.sand.models import BatchStep, Stage
from schedules.sand.services import add_moisture_test
from schedules.work.models import StandingOrder, Status, Trigger, WorkOrder
from schedules.work.progress import finish_work
from tests.factories import (
    make_actor,
    make_basin,
    make_batch,
    make_bay,
    make_crop_field,
    make_machine,
    make_place,
    make_site,
    make_skill,
    make_standing_order,
    make_user,
    make_work_order,
    make_worker,
    utc,
)
from tests.farm import Farm

from .conftest import NOW, ClientOf
from .pdf import FIGURES_ALONE, code_of, dark_modules, read_pdf, size_pt, sizes_of_type, text_of
from .reading import rows, section, url, words

pytestmark = pytest.mark.django_db

DAY, HOUR, MINUTE = timedelta(days=1), timedelta(hours=1), timedelta(minutes=1)
FEBRUARY = utc("2026-02-10 17:00")  # 10:00 am in Denver
MARCH = {"from": "2026-03-01", "to": "2026-03-04"}
MOST_QUERIES = 25
KEYS = [report.key for report in REPORTS]


@pytest.fixture
def site(db: None) -> Site:
    return make_site("small")


@pytest.fixture
def ana(site: Site) -> Actor:
    return make_actor(site, "ana")


@pytest.fixture
def lead(site: Site) -> Client:
    client = Client()
    client.force_login(make_user(Role.LEAD, site))
    return client


@pytest.fixture
def basin(site: Site) -> Basin:
    return make_basin(site, "west")


def page(client: Client, slug: str = "small", **query: Any) -> Any:
    response = client.get(url("records", slug=slug), query)
    assert response.status_code == 200
    return response


def shown(client: Client, key: str, slug: str = "small", **query: Any) -> list[list[str]]:
    """The rows of one report on the page, its heads first."""
    html = page(client, slug, **query).content.decode()
    part = html[html.index(f'id="{key}"') :]
    return rows(part[: part.index("</section>")])


def table(client: Client, key: str, slug: str = "small", **query: Any) -> list[dict[str, str]]:
    response = client.get(url("record-csv", key, slug=slug), query)
    assert response.status_code == 200
    text = b"".join(response.streaming_content).decode()  # type: ignore[attr-defined]
    return list(csv.DictReader(StringIO(text)))


def say_level(basin: Basin, by: Actor, at: datetime, depth_m: float = 1.2) -> LevelReading:
    return record_level(site_id=basin.site_id, basin_id=basin.pk, depth_m=depth_m, by=by, at=at)


# Rows ---------------------------------------------------------------------------------------------


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


@pytest.fixture
def station(site: Site) -> WeatherStation:
    return WeatherStation.objects.create(
        site=site, key="yard", name="Yard", latitude_deg=38.6, longitude_deg=-102.4,
        elevation_m=1190,
    )  # fmt: skip


def _weather(station: WeatherStation, on: date, tmax_degc: float) -> WeatherDay:
    return WeatherDay.objects.create(
        site=station.site, station=station, on=on, tmin_degc=5, tmax_degc=tmax_degc,
        rh_min_frac=0.3, rain_mm=0, et0_mm=5, et0_method="given",
    )  # fmt: skip


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
    hot = _weather(station, date(2026, 2, 10), 30)
    _weather(station, date(2026, 2, 11), 18)

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


def _round(site: Site, basin: Basin, n: int, **facts: Any) -> WorkOrder:
    order = _walk(site)
    at = FEBRUARY + n * DAY
    usual = {
        "standing_order": order,
        "title": order.title,
        "place": basin.place,
        "starts_after": at,
        "due_at": at + 4 * HOUR,
        "local_date": at.date(),
    }
    return make_work_order(site, f"round/{n}", **{**usual, **facts})


def _walk(site: Site) -> StandingOrder:
    found = StandingOrder.objects.filter(site=site, key="walk").first()
    facts: dict[str, Any] = {"trigger": Trigger.CALENDAR, "target": {"kind": PlaceKind.BASIN}}
    return found or make_standing_order(site, "walk", title={"en": "Walk round"}, **facts)


def test_rounds_say_what_became_of_them_and_lead_to_their_page(
    site: Site, basin: Basin, lead: Client
) -> None:
    bea = make_worker(site, "bea")
    done, missed, open_one = (_round(site, basin, n) for n in range(3))
    _round(site, basin, 3, status=Status.CANCELLED, outcome="not_needed")
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


# Periods ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("on", "opens", "closes"),
    [
        ("2026-03-08", "2026-03-08 07:00", "2026-03-09 06:00"),  # 23 h
        ("2026-11-01", "2026-11-01 06:00", "2026-11-02 07:00"),  # 25 h
    ],
)
def test_day_of_another_clock_is_reported_from_midnight_to_midnight(
    on: str, opens: str, closes: str, basin: Basin, ana: Actor, site: Site, clock: Any
) -> None:
    """Denver changes its clock on 8 March and 1 November 2026 (IANA time zone database)."""
    clock.move_to(utc("2026-11-20 12:00"))
    client = Client()
    client.force_login(make_user(Role.MANAGER, site))
    start, end = utc(opens), utc(closes)
    inside = [say_level(basin, ana, at) for at in (start, end - timedelta(seconds=1))]
    for at in (start - timedelta(seconds=1), end):
        say_level(basin, ana, at)

    found = table(client, "levels", **{"from": on, "to": on})
    assert [row["record_id"] for row in found] == [str(reading.pk) for reading in inside]
    assert [row["read_at"][:19] for row in found] == [f"{on}T00:00:00", f"{on}T23:59:59"]
    moments = [row[0] for row in shown(client, "levels", **{"from": on, "to": on})[1:]]
    assert [moment.split(" 2026 ")[1] for moment in moments] == ["midnight", "11:59 pm"]


def test_period_is_the_last_full_month_unless_asked(lead: Client) -> None:
    assert "Sun 1 Feb 2026 to Sat 28 Feb 2026" in words(page(lead))
    asked = {"from": "2025-03-05", "to": "2026-03-04"}
    assert "Wed 5 Mar 2025 to Wed 4 Mar 2026" in words(page(lead, **asked))  # 365 days


@pytest.mark.parametrize(
    ("first", "last", "words_said"),
    [
        ("2026-02-30", "2026-03-01", "Give the first and the last day, as in 2026-02-01."),
        ("2026-02-01", "", "Give the first and the last day, as in 2026-02-01."),
        ("", "2026-02-01", "Give the first and the last day, as in 2026-02-01."),
        ("yesterday", "2026-03-01", "Give the first and the last day, as in 2026-02-01."),
        ("2026-03-02", "2026-03-01", "The last day lies before the first."),
        ("2026-03-01", "2026-03-05", "Records end today: give a last day up to today."),
        ("2025-03-03", "2026-03-04", "A report covers 366 days at most."),
        ("0001-01-01", "0001-01-02", "Give days of the year 2000 or later."),
        ("9999-12-31", "9999-12-31", "Records end today: give a last day up to today."),
    ],
)
@pytest.mark.parametrize("name", ["records", "record-pdf", "record-csv"])
def test_bad_period_is_refused_in_words(
    name: str, first: str, last: str, words_said: str, lead: Client
) -> None:
    args = () if name == "records" else ("levels",)
    response = lead.get(url(name, *args, slug="small"), {"from": first, "to": last})

    assert response.status_code == 400
    assert words_said in words(response)


# Who may see it -----------------------------------------------------------------------------------


@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize("name", ["record-pdf", "record-csv"])
def test_only_who_decides_for_others_gets_a_report(
    name: str, role: Role, farm: Farm, client_of: ClientOf, stranger: Client
) -> None:
    address = url(name, "training")
    is_lead = role in (Role.LEAD, Role.MANAGER)

    assert client_of(role).get(address).status_code == (200 if is_lead else 403)
    assert stranger.get(address).status_code == 404


@pytest.mark.parametrize("name", ["record-pdf", "record-csv"])
def test_unknown_report_is_not_found(name: str, lead: Client) -> None:
    assert lead.get(url(name, "milk", slug="small")).status_code == 404


# What is missing ----------------------------------------------------------------------------------


def test_gaps_are_longer_than_the_rule_and_looked_back_from_the_first_day() -> None:
    first, end, most = date(2026, 2, 1), date(2026, 3, 1), 8 * DAY
    of = {
        (): [(first, end)],
        (date(2026, 1, 28), date(2026, 2, 5), date(2026, 2, 13), date(2026, 2, 21)): [],
        (date(2026, 1, 25), date(2026, 2, 5), date(2026, 2, 13), date(2026, 2, 20)): [
            (date(2026, 1, 25), date(2026, 2, 5)),
            (date(2026, 2, 20), end),
        ],
        (date(2026, 2, 9), date(2026, 2, 17), date(2026, 2, 25)): [],
        (date(2026, 2, 10), date(2026, 2, 18), date(2026, 2, 25)): [(first, date(2026, 2, 10))],
    }
    for days, gaps in of.items():
        assert gaps_in(days, first, end, most) == gaps


def test_weeks_without_a_level_are_named_by_basin(
    site: Site, basin: Basin, ana: Actor, lead: Client
) -> None:
    make_basin(site, "east")
    for days in (-6, 0, 8, 16):  # 4, 10, 18 and 26 February
        say_level(basin, ana, FEBRUARY + days * DAY)

    missing = section(page(lead), "missing")
    never = "no level read for 28 days, from Sun 1 Feb 2026 until Sat 28 Feb 2026."
    assert f"Basin east: {never}" in missing
    assert "Basin west" not in missing


def test_period_that_is_not_over_is_looked_at_up_to_today(
    basin: Basin, ana: Actor, lead: Client
) -> None:
    say_level(basin, ana, NOW - DAY)

    assert "Basin west" not in section(page(lead, **MARCH), "missing")


def test_batch_picked_up_untested_is_named(site: Site, ana: Actor, lead: Client) -> None:
    tested, untested = (
        make_batch(site, Stage.DRYING, at=FEBRUARY - DAY, place=make_bay(site, f"bay-{n}").place)
        for n in (1, 2)
    )
    add_moisture_test(
        site_id=site.pk, batch_id=tested.pk, moisture_frac=0.04, basis="wb", n_spots=5, by=ana,
        at=FEBRUARY,
    )  # fmt: skip
    for batch in (tested, untested):
        BatchStep.objects.create(
            site=site, batch=batch, kind="picked_up", at=FEBRUARY + HOUR, by=ana
        )

    missing = section(page(lead), "missing")
    no_test = "picked up on Tue 10 Feb 2026 with no moisture test on record."
    assert f"Batch {untested.number}: {no_test}" in missing
    assert f"Batch {tested.number}:" not in missing


def test_nothing_expected_is_said_and_what_is_not_recorded_too(
    site: Site, station: WeatherStation, lead: Client
) -> None:
    for n in range(28):
        _weather(station, date(2026, 2, 1) + n * DAY, 10)

    said = page(lead)
    assert section(said, "due") == (
        "No standing order asked for a reading, a test, a service or a heat round."
    )
    nothing = "Nothing that this program was told to expect is missing."
    assert nothing in section(said, "missing")
    assert "bacteria" in section(said, "not-recorded")
    assert "not recorded here" in section(said, "not-recorded")


def test_more_missing_work_than_is_named_is_counted(site: Site, basin: Basin, lead: Client) -> None:
    for n in range(15):
        _round(site, basin, n)

    missing = section(page(lead), "missing")
    assert missing.count("Walk round Basin west") == 12
    assert "And 3 more." in missing


# Much of it ---------------------------------------------------------------------------------------


def _many_levels(basin: Basin, by: Actor, n: int) -> list[LevelReading]:
    start = utc("2026-02-01 12:00")
    return LevelReading.objects.bulk_create(
        LevelReading(
            site=basin.site,
            basin=basin,
            read_at=start + (i // 2) * MINUTE,  # two at a time
            depth_m=i / 1000,
            by=by,
        )
        for i in range(n)
    )


def test_csv_has_every_row_once_in_order_and_reads_them_in_parts(
    basin: Basin, ana: Actor, lead: Client, django_assert_max_num_queries: Any
) -> None:
    made = _many_levels(basin, ana, 1201)
    lead.get(url("record-csv", "levels", slug="small"))  # the account is known

    with django_assert_max_num_queries(14) as found:
        rows_read = table(lead, "levels")

    assert [row["record_id"] for row in rows_read] == [str(one.pk) for one in made]
    limits = [q["sql"] for q in found if "equipment_levelreading" in q["sql"]]
    assert len(limits) == 3 + 1  # three parts, and none after them
    assert all("LIMIT 500" in sql for sql in limits)


def test_page_shows_the_first_twenty_and_says_of_how_many(
    basin: Basin, ana: Actor, lead: Client
) -> None:
    made = _many_levels(basin, ana, 1201)

    found = shown(lead, "levels")
    assert [row[-1] for row in found[1:]] == [str(one.pk) for one in made[:20]]
    assert "First 20 of 1,201 rows." in section(page(lead), "levels")


def test_pdf_ends_at_five_hundred_rows_and_says_so_with_heads_repeated(
    basin: Basin, ana: Actor, lead: Client
) -> None:
    _many_levels(basin, ana, 1201)

    pages = [text_of(one) for one in read_pdf(lead, "record-pdf", "levels", slug="small").pages]

    n_pages = len(pages)
    assert n_pages > 10
    for n, text in enumerate(pages, start=1):
        assert text.startswith("Basins: levels · Small · Sun 1 Feb 2026 to Sat 28 Feb 2026")
        assert "First 500 of 1,201 rows; the CSV has all." in text
        assert "When Basin Depth Line Below the line By Record no." in text
        assert text.endswith(f"printed 9:00 am Wed 4 Mar 2026, page {n} of {n_pages}")
    whole = " ".join(pages)
    assert whole.count("Basin west") == 500
    assert whole.count(" Ana ") == 500


@pytest.mark.parametrize("key", KEYS)
def test_report_prints_with_its_farm_period_and_way_back(
    key: str, farm: Farm, manager: Client
) -> None:
    pdf = read_pdf(manager, "record-pdf", key, **MARCH)

    for one in pdf.pages:
        assert "· Ours · Sun 1 Mar 2026 to Wed 4 Mar 2026" in text_of(one)
        assert min(sizes_of_type(one)) >= 12
        assert not FIGURES_ALONE.search(text_of(one))
        assert size_pt(one) == [792, 612]  # US Letter on its side
    last = pdf.pages[-1]
    assert "All times are the farm's: America/Denver." in text_of(last)
    back = f"{url('records')}?from=2026-03-01&to=2026-03-04#{key}"
    assert dark_modules(last) == code_of(back)


@pytest.mark.parametrize("key", KEYS)
def test_csv_names_units_and_traces_each_row(key: str, farm: Farm, manager: Client) -> None:
    response = manager.get(url("record-csv", key), {**MARCH, "form": "sheet"})
    text = b"".join(response.streaming_content).decode()  # type: ignore[attr-defined]
    head = text.splitlines()[0]

    assert text.startswith("\N{ZERO WIDTH NO-BREAK SPACE}")
    assert response["Content-Disposition"] == (
        f'attachment; filename="ours-{key}-2026-03-01-2026-03-04.csv"'
    )
    assert "record_id,event_id" in head


def _more_of_everything(farm: Farm) -> None:
    who: dict[str, Any] = {**farm.who()}
    for n in range(12):
        basin = make_basin(farm.site, f"basin-more-{n}")
        say_level(basin, farm.worker.actor, NOW - n * HOUR)
        bay = make_bay(farm.site, f"bay-more-{n}")
        batch = make_batch(farm.site, Stage.DRYING, at=NOW - DAY, place=bay.place)
        add_moisture_test(batch_id=batch.pk, moisture_frac=0.1, basis="wb", n_spots=3, **who)
        BatchStep.objects.create(
            site=farm.site, batch=batch, kind="picked_up", at=NOW - DAY, by=farm.worker.actor
        )
        make_worker(farm.site, f"more-{n}", skills=(f"skill-{n}",))
        farm._order(f"round/{n}", place=basin.place, standing_order=make_standing_order(
            farm.site, f"round-{n}", trigger=Trigger.CALENDAR
        ))  # fmt: skip
        make_standing_order(
            farm.site,
            f"heat-{n}",
            trigger=Trigger.WEATHER,
            rule={"measure": "tmax_degc", "at_least": 10 + n},
        )
        make_place(farm.site, f"yard-more-{n}", PlaceKind.YARD)


def test_page_and_paper_take_as_many_queries_for_much_as_for_little(
    farm: Farm, manager: Client, django_assert_max_num_queries: Any
) -> None:
    addresses = [url("records"), *(url("record-pdf", key) for key in KEYS)]

    def n_queries() -> list[int]:
        found = []
        for address in addresses:
            with django_assert_max_num_queries(MOST_QUERIES) as queries:
                assert manager.get(address, MARCH).status_code == 200
            found.append(len(queries))
        return found

    for address in addresses:
        manager.get(address, MARCH)
    few = n_queries()
    _more_of_everything(farm)

    assert n_queries() == few
    assert few[0] > 10  # the whole page was asked for
    assert max(few[1:]) <= 7


def test_page_speaks_spanish_too(farm: Farm, manager: Client) -> None:
    manager.cookies[settings.LANGUAGE_COOKIE_NAME] = "es"

    response = manager.get(url("records"), MARCH)

    assert response.status_code == 200
    assert '<html lang="es"' in response.content.decode()
    assert "Pila de sólidos basin-1" in words(response)

"""What a calendar program reads, and how it learns of what changed."""

import io
import logging
import uuid
from datetime import UTC, date, datetime, timedelta
from typing import Any

import icalendar
import pytest
import time_machine
from dateutil.tz import tzical
from django.test import Client
from rest_framework.test import APIClient

from crews.roster.models import Presence, Shift
from schedules.calendars.feed import link_of
from schedules.calendars.models import Calendar, CalendarEntry, CalendarKind
from schedules.calendars.services import end_link, make_link
from schedules.dayplan.models import Assignment, Claim
from schedules.sand.models import DryForecast, Stage
from schedules.work.models import WorkOrder
from tests.factories import make_shift, make_work_order
from tests.farm import Farm

pytestmark = pytest.mark.django_db

TOKEN = "f" * 64
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


class Reader:
    """A calendar program that holds one link."""

    def __init__(self, farm: Farm, kind: CalendarKind, subject_id: int) -> None:
        self.calendar = make_link(
            site_id=farm.site.pk,
            kind=kind,
            subject_id=subject_id,
            token=TOKEN,
            by=farm.manager.actor,
            at=farm.now,
        )
        self.client = Client()

    def get(self, key: str = TOKEN, **headers: str) -> Any:
        return self.client.get(f"/calendars/{self.calendar.pk}.ics?key={key}", headers=headers)

    def read(self) -> Any:
        response = self.get()
        assert response.status_code == 200, response.content
        return icalendar.Calendar.from_ical(response.content)

    def events(self) -> dict[str, Any]:
        """Events by what they are called."""
        return {str(event["summary"]): event for event in self.read().walk("VEVENT")}


def order_given(farm: Farm, title: str, starts_at: datetime, **facts: Any) -> WorkOrder:
    """Work that Ana has on the first machine."""
    order = make_work_order(farm.site, title, title={"en": title, "es": title}, **facts)
    given = Assignment.objects.create(
        site=farm.site, work_order=order, starts_at=starts_at, ends_at=starts_at + HOUR
    )
    for thing in ({"worker": farm.worker}, {"machine": farm.machines[0]}):
        span = (starts_at, starts_at + HOUR)
        Claim.objects.create(site=farm.site, assignment=given, span=span, **thing)
    return order


@pytest.fixture
def ana(farm: Farm) -> Reader:
    return Reader(farm, CalendarKind.WORKER, farm.worker.pk)


# What stands in each ----------------------------------------------------------------------------


def test_person_has_shifts_and_jobs(farm: Farm, ana: Reader) -> None:
    starts_at = farm.now + 20 * HOUR
    order_given(farm, "Haul", starts_at)
    make_shift(farm.worker, farm.now + 40 * DAY)

    events = ana.events()

    haul = events["Haul"]
    assert haul.decoded("dtstart") == starts_at
    assert haul.decoded("dtend") == starts_at + HOUR
    assert haul["dtstart"].params["TZID"] == "America/Denver"
    assert "Loader-1" in haul["description"]
    assert (haul["status"], haul["sequence"], haul["class"]) == ("CONFIRMED", 0, "PRIVATE")
    shifts = [event for name, event in events.items() if "Day" in name]
    assert shifts[-1].decoded("dtstart") == farm.now + 40 * DAY


def test_crew_has_the_jobs_of_its_people(farm: Farm) -> None:
    order_given(farm, "Haul", farm.now + 20 * HOUR)

    events = Reader(farm, CalendarKind.CREW, farm.crew.pk).events()

    assert "Ana" in events["Haul"]["description"]


def test_machine_has_its_jobs_and_the_services_that_fall_due(farm: Farm) -> None:
    order_given(farm, "Haul", farm.now + 20 * HOUR)

    events = Reader(farm, CalendarKind.MACHINE, farm.machines[0].pk).events()

    assert "Haul" in events
    [due] = [event for name, event in events.items() if name == "Service due: Oil"]
    assert type(due.decoded("dtstart")) is date
    assert due.decoded("dtend") - due.decoded("dtstart") == DAY
    assert due["transp"] == "TRANSPARENT"


def test_pad_has_its_work_and_the_days_its_batches_should_be_dry(farm: Farm) -> None:
    batch = farm.batches[Stage.DRYING][2]
    on = farm.now.date() + 3 * DAY
    DryForecast.objects.create(
        site=farm.site, batch=batch, made_at=farm.now, n_members=9, dry_on_p50=on, et0_method="x"
    )
    span = {"starts_after": farm.now + HOUR, "due_at": farm.now + 5 * HOUR}
    make_work_order(farm.site, "turn", title={"en": "Turn"}, place=farm.bays[0].place, **span)
    make_work_order(farm.site, "away", title={"en": "Not here"}, place=farm.shop, **span)

    events = Reader(farm, CalendarKind.PAD, farm.bays[0].pad_id).events()

    assert events["Turn"].decoded("dtstart") == farm.now + HOUR
    assert "Not here" not in events
    assert events[f"Batch {batch.number} expected dry"].decoded("dtstart") == on


# The form ---------------------------------------------------------------------------------------


def test_feed_is_as_the_standards_have_it(farm: Farm, ana: Reader) -> None:
    order_given(farm, "Haul", farm.now + 20 * HOUR)
    farm.site.name = 'Three; Cairns, "west"'
    farm.site.save(update_fields=["name"])

    response = ana.get()

    text = response.content.decode()
    assert response["Content-Type"] == "text/calendar; charset=utf-8"  # RFC 5545, 8.1
    lines = text.split("\r\n")
    assert lines[-1] == ""
    assert "\n" not in "".join(lines)  # RFC 5545, 3.1: CRLF and nothing else
    assert max(len(line.encode()) for line in lines) <= 75  # RFC 5545, 3.1, in octets
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT15M" in lines  # RFC 7986, 5.7
    assert any(line.startswith("NAME:Three\\; Cairns\\, ") for line in lines)  # RFC 7986, 5.1
    feed: Any = icalendar.Calendar.from_ical(response.content)
    assert (feed["version"], feed["prodid"]) == ("2.0", "-//Penround//Calendar 1//EN")
    for event in feed.walk("VEVENT"):
        assert {"UID", "DTSTAMP", "DTSTART"} <= event.keys()  # RFC 5545, 3.6.1
        assert event["dtstamp"].dt.utcoffset() == timedelta(0)  # RFC 5545, 3.8.7.2
        uuid.UUID(str(event["uid"]))  # RFC 7986, 5.3
    assert feed.errors == []


def test_zone_block_gives_another_program_the_same_instants(farm: Farm, ana: Reader) -> None:
    starts_at = farm.now + 20 * HOUR
    order_given(farm, "Haul", starts_at)
    zone = tzical(io.StringIO(ana.get().content.decode().replace("\r\n ", ""))).get()

    event = ana.events()["Haul"]
    wall = event["dtstart"].dt.replace(tzinfo=None)
    assert wall.replace(tzinfo=zone).astimezone(UTC) == starts_at


NASTY = 'Rake, "west"; a\\b\nBEGIN:VEVENT\r\nATTACH:http://127.0.0.1/\n' + "ñ" * 60


def test_text_of_people_stays_text(farm: Farm, ana: Reader) -> None:
    """RFC 5545, 3.3.11: a backslash before what would end a value or a line."""
    order = order_given(farm, "Haul", farm.now + 20 * HOUR)
    WorkOrder.objects.filter(pk=order.pk).update(title={"es": NASTY, "en": NASTY})
    before = len(CalendarEntry.objects.all())

    read = ana.read()

    events = read.walk("VEVENT")
    [nasty] = [event for event in events if "Rake" in event["summary"]]
    assert str(nasty["summary"]) == NASTY.replace("\r\n", "\n")
    assert before == 0
    assert len(events) == CalendarEntry.objects.count()
    assert b"\r\nATTACH" not in ana.get().content


# Changes ----------------------------------------------------------------------------------------


def test_change_keeps_the_uid_and_raises_the_sequence(farm: Farm, ana: Reader) -> None:
    """RFC 5545, 3.8.7.4."""
    order = order_given(farm, "Haul", farm.now + 20 * HOUR)
    first = ana.events()["Haul"]

    seen = []
    for number in (1, 2):
        WorkOrder.objects.filter(pk=order.pk).update(title={"en": f"Haul {number}", "es": ""})
        seen.append(ana.events()[f"Haul {number}"])
    again = ana.events()["Haul 2"]

    assert {str(event["uid"]) for event in (first, *seen, again)} == {str(first["uid"])}
    assert [event["sequence"] for event in (first, *seen, again)] == [0, 1, 2, 2]


def test_what_went_is_cancelled_and_may_come_back(farm: Farm, ana: Reader) -> None:
    order = order_given(farm, "Haul", farm.now + 20 * HOUR)
    first = ana.events()["Haul"]

    Claim.objects.filter(assignment__work_order=order).delete()
    gone = [ana.events()["Haul"] for _twice in range(2)]
    span = (farm.now + 20 * HOUR, farm.now + 21 * HOUR)
    given = Assignment.objects.get(work_order=order)
    Claim.objects.create(site=farm.site, assignment=given, span=span, worker=farm.worker)
    back = ana.events()["Haul"]

    assert [event["status"] for event in gone] == ["CANCELLED"] * 2
    assert [event["sequence"] for event in (first, *gone, back)] == [0, 1, 1, 2]
    assert (back["status"], back["uid"]) == ("CONFIRMED", first["uid"])


def test_what_is_over_is_not_cancelled_and_is_let_go_in_time(farm: Farm, ana: Reader) -> None:
    order_given(farm, "Haul", farm.now - 5 * HOUR)
    assert ana.events()["Haul"]["status"] == "CONFIRMED"

    with time_machine.travel(farm.now + 13 * DAY, tick=False):
        assert ana.events()["Haul"]["status"] == "CONFIRMED"
    with time_machine.travel(farm.now + 15 * DAY, tick=False):
        assert "Haul" not in ana.events()


def test_sick_persons_shift_is_cancelled(farm: Farm, ana: Reader) -> None:
    shift = make_shift(farm.worker, farm.now + 3 * DAY)
    ana.read()

    Shift.objects.filter(pk=shift.pk).update(presence=Presence.SICK)

    entry = CalendarEntry.objects.get(key=f"shift-{shift.pk}")
    ana.read()
    entry.refresh_from_db()
    assert (entry.is_cancelled, entry.sequence) == (True, 1)


def test_feed_is_not_sent_twice_and_reads_the_same_while_nothing_changes(
    farm: Farm, ana: Reader
) -> None:
    """RFC 9110, 13.1.2."""
    first = ana.get()

    with time_machine.travel(datetime.now(UTC) + HOUR, tick=False):
        again = ana.get()
        not_sent = ana.get(**{"If-None-Match": first["ETag"]})
    order_given(farm, "Haul", farm.now + 20 * HOUR)
    changed = ana.get(**{"If-None-Match": first["ETag"]})

    assert again.content == first.content
    assert (not_sent.status_code, not_sent.content) == (304, b"")
    assert not_sent["ETag"] == first["ETag"]
    assert changed.status_code == 200


# The link ---------------------------------------------------------------------------------------


def test_link_is_the_only_way_in_and_a_new_one_ends_the_one_before(
    farm: Farm, ana: Reader, as_manager: APIClient
) -> None:
    path = f"/calendars/{ana.calendar.pk}.ics"
    assert ana.get().status_code == 200
    assert ana.client.head(f"{path}?key={TOKEN}").status_code == 200
    assert ana.client.post(f"{path}?key={TOKEN}").status_code == 405
    for key in ("", "f", TOKEN[:-1] + "e", ana.calendar.token_hash):
        assert ana.get(key).status_code == 404
    assert as_manager.get(path).status_code == 404
    assert TOKEN not in str(Calendar.objects.filter(pk=ana.calendar.pk).values())

    new = make_link(
        site_id=farm.site.pk,
        kind=CalendarKind.WORKER,
        subject_id=farm.worker.pk,
        token="a" * 64,
        by=farm.manager.actor,
        at=farm.now,
    )
    assert new.pk == ana.calendar.pk

    assert ana.get().status_code == 404
    assert ana.get("a" * 64).status_code == 200


def test_ended_link_is_dead_at_once_and_so_is_that_of_who_left(farm: Farm, ana: Reader) -> None:
    end_link(site_id=farm.site.pk, calendar_id=ana.calendar.pk, at=farm.now)
    assert ana.get().status_code == 404
    assert ana.get("").status_code == 404

    reader = Reader(farm, CalendarKind.WORKER, farm.spare.pk)
    farm.spare.retired_at = farm.now
    farm.spare.save(update_fields=["retired_at"])
    assert reader.get().status_code == 404


def test_secret_is_in_no_line_of_the_log(
    farm: Farm, ana: Reader, caplog: pytest.LogCaptureFixture
) -> None:
    secret = "canary" * 10
    with caplog.at_level(logging.DEBUG):
        for key in (TOKEN, secret, ""):
            ana.get(key)

    assert "Not Found" in caplog.text  # it does log, by the path alone
    assert secret not in caplog.text
    assert TOKEN not in caplog.text


def test_api_makes_a_link_that_a_repeat_tells_again_and_that_is_kept_nowhere(
    farm: Farm, as_manager: APIClient
) -> None:
    def make(key: str) -> Any:
        body = {"kind": "worker", "subject": farm.worker.pk}
        headers = {"Idempotency-Key": key}
        return as_manager.post("/api/v1/sites/ours/calendars/", body, headers=headers).json()

    first, again = make("k-1"), make("k-1")

    assert again == first
    address = first["url"].removeprefix("http://localhost:8000")
    assert Client().get(address).status_code == 200
    assert make("k-2")["url"] != first["url"]
    assert Client().get(address).status_code == 404


def test_log_line_of_requests_has_no_query() -> None:
    """Gunicorn's %(U)s is the path without its query; %(r)s and %(q)s would tell it."""
    from config.up import ACCESS_LINE

    assert "?key=" in link_of(1, "x")
    assert not {"%(r)s", "%(q)s", "%(f)s"} & set(ACCESS_LINE.split())

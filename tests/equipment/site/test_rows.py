"""Rows in one statement: what Django writes one by one, and what it reads."""

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.db import DataError, IntegrityError, connection
from django.test.utils import CaptureQueriesContext

from equipment.site import rows
from equipment.site.models import Actor, Change, Event, Site, SiteVersion
from equipment.site.rows import Joined, first_row, insert_rows, update_rows
from tests.factories import make_site, make_worker, utc

pytestmark = pytest.mark.django_db
NOON = utc("2026-03-04 12:00")
PAYLOADS: list[Any] = [
    {},
    {"text": 'Portón «2»\\ "x" 100% %s \u2028 🐄', "n": None, "list": [1, 2.5, True, {"a": ""}]},
    {"big": 2**62, "small": 1e-9},
]


@pytest.fixture
def actor() -> Actor:
    return make_worker(make_site(), "ana").actor


def event(actor: Actor, n: int, **facts: Any) -> Event:
    usual = {"payload": PAYLOADS[n % len(PAYLOADS)], "answer": {"result": {"n": n}}, "kind": "load"}
    times = {"happened_at": NOON + timedelta(microseconds=n), "received_at": NOON}
    who = {"site": actor.site, "actor": actor, "device_key": 1, "device_seq": n}
    return Event(id=uuid.uuid4(), state="applied", **{**usual, **times, **who, **facts})


def columns(rows: Any) -> list[dict[str, Any]]:
    return list(rows.order_by("device_seq").values())


def test_rows_are_written_as_the_orm_writes_them(actor: Actor) -> None:
    made = [event(actor, n, version=n, client_at=NOON if n % 2 else None) for n in range(6)]
    Event.objects.bulk_create(made)
    as_usual = columns(Event.objects.all())
    Event.objects.all().delete()

    with CaptureQueriesContext(connection) as asked:
        insert_rows(made)

    assert columns(Event.objects.all()) == as_usual
    assert len(asked) == 1


def test_rows_with_keys_of_the_databases_get_them_in_order(actor: Actor) -> None:
    insert_rows([Change(site=actor.site, version=1, topic=f"t.{n}", at=NOON) for n in range(20)])

    topics = Change.objects.order_by("pk").values_list("topic", flat=True)
    assert list(topics) == [f"t.{n}" for n in range(20)]


def test_nothing_to_write_asks_nothing(django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(0):
        insert_rows([])
        update_rows([], ("state",))


def test_only_the_fields_named_are_written(actor: Actor) -> None:
    rows = [event(actor, n) for n in range(3)]
    insert_rows(rows)
    for row in rows[:2]:
        row.state, row.answer, row.version, row.kind = "refused", {"code": "x"}, 9, "changed"

    update_rows(rows[:2], ("state", "answer", "version"))

    stored = Event.objects.order_by("device_seq").values_list("state", "version", "kind")
    assert list(stored) == [("refused", 9, "load")] * 2 + [("applied", None, "load")]
    assert Event.objects.get(pk=rows[0].pk).answer == {"code": "x"}


def test_the_tables_own_rules_hold(actor: Actor) -> None:
    with pytest.raises(DataError):
        insert_rows([event(actor, 1, kind="x" * 41)])


def test_a_row_that_is_there_is_not_written_again(actor: Actor) -> None:
    row = event(actor, 1)
    insert_rows([row])
    with pytest.raises(IntegrityError):
        insert_rows([row])


def test_what_a_statement_joins_is_read_as_the_orm_reads_it(actor: Actor) -> None:
    site = Site.objects.get()
    site.words = {"en": {"pen": "Corral"}}
    site.save()
    joined = Joined(site=Site, version=SiteVersion, actor=Actor)
    sql = f"""SELECT {joined.columns} FROM equipment_site site
        JOIN equipment_siteversion version ON version.site_id = site.id
        LEFT JOIN equipment_actor actor ON actor.id = $1::bigint"""

    for key, expected in ((str(actor.pk), actor), ("0", None)):
        found = joined.first(sql, key)
        assert found == [site, SiteVersion.objects.get(), expected]
        assert found[0].words == site.words
        assert not found[0]._state.adding
    assert joined.first(f"{sql} WHERE false", "0") is None


def planned_in_session() -> set[str]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT name FROM pg_prepared_statements WHERE name LIKE 'penround%'")
        return {name for (name,) in cursor.fetchall()}


def test_a_session_plans_a_statement_once_and_keeps_so_many(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(rows, "MOST_PLANNED", 3)
    ways = [f"SELECT {n}, $1::text" for n in range(1_000_000, 1_000_005)]
    with connection.cursor() as cursor:
        cursor.execute("DEALLOCATE ALL")
    rows._there.clear()

    for n, way in enumerate(ways):
        for said in ("a", "it's 100%"):
            assert first_row(way, said) == (1_000_000 + n, said)
        assert len(planned_in_session()) == n % 3 + 1

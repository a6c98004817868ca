"""One transaction of one site: changes in order, runs only for those who asked."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import OperationalError, connection, transaction

from equipment.site import runs
from equipment.site.models import Change, Site, TaskRun
from equipment.site.queries import site_version, unread_changes
from equipment.site.writes import site_write
from tests.concurrency.threads import run_together
from tests.factories import make_site

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)

pytestmark = pytest.mark.django_db


@pytest.fixture
def site() -> Site:
    return make_site()


@pytest.fixture
def subscribed(monkeypatch: pytest.MonkeyPatch) -> None:
    """One kind that reads visits and holds, and nobody else."""
    kind = runs.RunKind("test.consume", "produce", 60, lambda _run, _prepared: None)
    monkeypatch.setattr(runs, "KINDS", {kind.name: kind})
    monkeypatch.setitem(runs.SUBSCRIBERS, kind.name, ("visit.", "hold."))
    for other in set(runs.SUBSCRIBERS) - {kind.name}:
        monkeypatch.delitem(runs.SUBSCRIBERS, other)


def _write(site: Site, topic: str) -> None:
    with site_write(site.pk, NOW) as write:
        write.change(topic, 7)


def _runs() -> list[str]:
    return list(TaskRun.objects.order_by("id").values_list("dedupe_key", flat=True))


def test_a_change_rings_for_those_who_named_its_topic(subscribed: None, site: Site) -> None:
    _write(site, "visit.retimed")
    _write(site, "hold.machine")
    assert _runs() == [f"{site.pk}:1", f"{site.pk}:2"]


def test_a_change_of_another_topic_rings_for_nobody(subscribed: None, site: Site) -> None:
    _write(site, "work.made")
    assert Change.objects.get().version == 1
    assert _runs() == []


def test_many_changes_of_one_transaction_share_a_version_and_a_run(
    subscribed: None, site: Site
) -> None:
    with site_write(site.pk, NOW) as write:
        for number in range(3):
            write.change("visit.retimed", number)
    assert set(Change.objects.values_list("version", flat=True)) == {1}
    assert _runs() == [f"{site.pk}:1"]


def test_a_write_within_a_write_joins_it(site: Site) -> None:
    with site_write(site.pk, NOW) as outer:
        outer.change("visit.retimed", 1)
        with site_write(site.pk, NOW) as inner:
            inner.change("visit.retimed", 2)
        assert site_version(site.pk) == 0
    assert site_version(site.pk) == 1
    assert [c.subject_id for c in Change.objects.order_by("id")] == ["1", "2"]


def test_one_transaction_writes_one_site(site: Site) -> None:
    other = make_site("other")
    with pytest.raises(RuntimeError), site_write(site.pk, NOW), site_write(other.pk, NOW):
        pass


def test_a_write_that_changed_nothing_bumps_nothing(site: Site) -> None:
    with site_write(site.pk, NOW):
        pass
    assert site_version(site.pk) == 0


def test_a_touch_bumps_the_version_and_rings_for_nobody(subscribed: None, site: Site) -> None:
    with site_write(site.pk, NOW) as write:
        write.touch()
    assert site_version(site.pk) == 1
    assert _runs() == []


def test_a_failed_write_leaves_no_change_no_version_and_no_run(
    subscribed: None, site: Site
) -> None:
    def fail() -> None:
        with site_write(site.pk, NOW) as write:
            write.change("visit.retimed", 1)
            raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        fail()
    assert (site_version(site.pk), Change.objects.count(), _runs()) == (0, 0, [])
    _write(site, "visit.retimed")  # the open write of the failed one is forgotten
    assert site_version(site.pk) == 1


def test_unread_changes_come_in_order_and_each_once(site: Site) -> None:
    for number in range(3):
        with site_write(site.pk, NOW) as write:
            write.change("visit.retimed", number)
    with transaction.atomic():
        changes, cursor = unread_changes(site.pk, "work")
        assert [c.subject_id for c in changes] == ["0", "1", "2"]
        cursor.version = changes[-1].version
        cursor.save()
    with transaction.atomic():
        assert unread_changes(site.pk, "work")[0] == []
        assert len(unread_changes(site.pk, "dayplan")[0]) == 3


@pytest.mark.django_db(transaction=True)
def test_a_version_is_given_only_when_the_one_before_it_is_visible() -> None:
    """Else a reader that has seen version 2 would never see version 1 (reliability R16)."""
    site = make_site()

    def write_impatiently() -> None:
        with connection.cursor() as cursor:
            cursor.execute("SET lock_timeout = '200ms'")
        _write(site, "visit.second")

    with transaction.atomic():
        _write(site, "visit.first")  # has its version, and is not committed
        [refused] = run_together(write_impatiently)
    assert isinstance(refused, OperationalError)
    assert "lock timeout" in str(refused)
    [done] = run_together(write_impatiently)
    assert done is None
    assert list(Change.objects.order_by("version").values_list("topic", "version")) == [
        ("visit.first", 1),
        ("visit.second", 2),
    ]


@pytest.mark.django_db(transaction=True)
def test_two_threads_of_writers_give_every_version_once() -> None:
    site = make_site()

    def write_many() -> None:
        for _number in range(25):
            _write(site, "visit.retimed")

    results: list[Any] = run_together(write_many, write_many)
    assert results == [None, None]
    versions = list(Change.objects.order_by("version").values_list("version", flat=True))
    assert versions == list(range(1, 51))

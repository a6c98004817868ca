"""Paired phones: whose they are, when they were heard, and what they told last."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from crews.devices.models import Device
from crews.devices.queries import paired_phones
from crews.devices.services import revoke_device
from equipment.site.models import Event, EventState
from tests.factories import make_phone, make_site, make_worker, utc

pytestmark = pytest.mark.django_db
NOW = utc("2026-03-04 16:00")
HOUR = timedelta(hours=1)


def test_phones_stand_with_their_last_word_the_longest_silent_first(
    django_assert_num_queries: Any,
) -> None:
    site = make_site()
    ana, ben = make_worker(site, "ana"), make_worker(site, "ben")
    (heard, _t), (never, _u), (gone, _v) = (make_phone(w, NOW - 9 * HOUR) for w in (ana, ben, ana))
    make_phone(make_worker(make_site("theirs"), "zoe"), NOW)
    revoke_device(site_id=site.pk, device_id=gone.pk, at=NOW)
    Device.objects.filter(pk=heard.pk).update(last_seen_at=NOW - HOUR, last_seq=2)
    for seq, told in ((1, NOW - 5 * HOUR), (2, NOW - 4 * HOUR)):
        Event.objects.create(
            site=site,
            actor=ana.actor,
            device_key=heard.pk,
            device_seq=seq,
            kind="start",
            happened_at=told,
            received_at=NOW - 2 * HOUR,
            state=EventState.APPLIED,
        )

    with django_assert_num_queries(1):
        first, second = paired_phones(site.pk)

    assert (first.device_id, first.owner, first.is_heard) == (never.pk, "Ben", False)
    assert (first.heard_at, first.told_at, first.n_told) == (NOW - 9 * HOUR, None, 0)
    assert (second.device_id, second.owner, second.is_heard) == (heard.pk, "Ana", True)
    assert (second.heard_at, second.n_told) == (NOW - HOUR, 2)
    assert (second.told_at, second.word_of) == (NOW - 2 * HOUR, NOW - 4 * HOUR)

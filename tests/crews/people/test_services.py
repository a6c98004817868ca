"""Verbs about people."""

from datetime import timedelta

import pytest

from crews.people.models import Worker
from crews.people.services import set_language
from equipment.site.errors import NotFoundError
from equipment.site.models import Language
from tests.factories import make_site, make_worker, utc

pytestmark = pytest.mark.django_db
NOON = utc("2026-03-04 12:00")


def test_phone_of_a_worker_speaks_the_language_chosen_on_it() -> None:
    worker = make_worker(make_site(), language=Language.SPANISH)

    set_language(site_id=worker.site_id, by=worker.actor, language=Language.ENGLISH, at=NOON)

    assert Worker.objects.get(pk=worker.pk).language == Language.ENGLISH


def test_language_of_another_sites_worker_is_not_ours_to_choose() -> None:
    theirs = make_worker(make_site("theirs"), language=Language.SPANISH)
    ours = make_site()

    with pytest.raises(NotFoundError):
        set_language(site_id=ours.pk, by=theirs.actor, language=Language.ENGLISH, at=NOON)

    assert Worker.objects.get(pk=theirs.pk).language == Language.SPANISH


def test_language_of_someone_who_left_stays() -> None:
    worker = make_worker(make_site(), language=Language.SPANISH, retired_at=NOON)

    with pytest.raises(NotFoundError):
        set_language(
            site_id=worker.site_id,
            by=worker.actor,
            language=Language.ENGLISH,
            at=NOON + timedelta(days=1),
        )

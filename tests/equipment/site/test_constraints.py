"""Every reference from one site's row to another is held to one site by the database."""

import pytest
from django.apps import apps
from django.db import connection
from django.db.models import ForeignKey

from equipment.site.models import SiteModel


def _site_models() -> list[type[SiteModel]]:
    return [m for m in apps.get_models() if issubclass(m, SiteModel)]


def _site_references() -> list[tuple[str, str, str]]:
    return [
        (m._meta.db_table, f.column, f.related_model._meta.db_table)
        for m in _site_models()
        for f in m._meta.get_fields()
        if isinstance(f, ForeignKey) and issubclass(f.related_model, SiteModel)
    ]


@pytest.mark.django_db
def test_every_reference_between_site_rows_has_a_composite_foreign_key() -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            """SELECT c.conrelid::regclass::text, a.attname, c.confrelid::regclass::text
               FROM pg_constraint c
               JOIN pg_attribute a ON a.attrelid = c.conrelid AND a.attnum = c.conkey[2]
               WHERE c.contype = 'f' AND array_length(c.conkey, 1) = 2"""
        )
        kept = set(cursor.fetchall())
    references = _site_references()
    assert len(references) > 50
    assert [r for r in references if r not in kept] == []


@pytest.mark.django_db
def test_every_site_row_is_unique_by_site_and_key() -> None:
    for model in _site_models():
        uniques = {tuple(c.fields) for c in model._meta.total_unique_constraints}
        assert ("site", model._meta.pk.name) in uniques, model

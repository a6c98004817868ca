"""Constraints that keep one site's rows from naming another site's rows."""

from typing import Any

from django.contrib.postgres.fields import DateTimeRangeField
from django.core.exceptions import ValidationError
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.models import BaseConstraint, Func, Model, UniqueConstraint
from django.utils.translation import gettext as _


class TsTzRange(Func):
    """`tstzrange(a, b)` over two columns; its default bounds are `[)`."""

    function = "TSTZRANGE"
    output_field = DateTimeRangeField()


class SameSite(BaseConstraint):
    """A composite foreign key (site, field) -> (site, primary key) of the field's target.

    Created at the end of a migration, when every target's unique (site, key) stands;
    deferrable, as Django's own foreign keys are.
    """

    def __init__(self, *, field: str, name: str, **kwargs: Any) -> None:
        super().__init__(name=name, **kwargs)
        self.field = field

    def _sql(self, model: type[Model], schema_editor: BaseDatabaseSchemaEditor) -> str:
        quote = schema_editor.quote_name
        field: Any = model._meta.get_field(self.field)
        target = field.remote_field.model._meta
        return (
            f"ALTER TABLE {quote(model._meta.db_table)} ADD CONSTRAINT {quote(self.name)} "
            f"FOREIGN KEY (site_id, {quote(field.column)}) "
            f"REFERENCES {quote(target.db_table)} (site_id, {quote(target.pk.column)}) "
            "DEFERRABLE INITIALLY DEFERRED"
        )

    def constraint_sql(self, model: Any, schema_editor: Any) -> str:
        schema_editor.deferred_sql.append(self._sql(model, schema_editor))
        return ""

    def create_sql(self, model: Any, schema_editor: Any) -> Any:
        schema_editor.deferred_sql.append(self._sql(model, schema_editor))
        return None

    def remove_sql(self, model: Any, schema_editor: Any) -> Any:
        return schema_editor._delete_constraint_sql(
            schema_editor.sql_delete_constraint, model, self.name
        )

    def validate(
        self, model: Any, instance: Any, exclude: Any = None, using: str = "default"
    ) -> None:
        other = getattr(instance, self.field, None)
        if other is not None and other.site_id != instance.site_id:
            raise ValidationError({self.field: _("belongs to another site")}, code="other_site")

    def deconstruct(self) -> Any:
        path, args, kwargs = super().deconstruct()
        return path, args, {**kwargs, "field": self.field}

    def __eq__(self, other: object) -> bool:
        return isinstance(other, SameSite) and self.name == other.name and self.field == other.field

    __hash__ = None  # type: ignore[assignment]


def site_constraints(*fields: str, pk: str = "id") -> list[BaseConstraint]:
    """Unique (site, key), and a composite foreign key for each named field.

    Goes into `Meta.constraints` of every site-owned model; Django fills in `%(class)s`.
    """
    unique = UniqueConstraint(fields=["site", pk], name="%(class)s_site_pk")
    return [unique, *(SameSite(field=f, name=f"%(class)s_{f}_same_site") for f in fields)]


def place_constraints(*fields: str) -> list[BaseConstraint]:
    """`site_constraints` of a model whose key is its place."""
    return site_constraints("place", *fields, pk="place")

"""Sections of the farm file, and how their entries are read from and written to rows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db import models
from django.utils.translation import gettext_lazy as _

from .farmfields import ANY_PLACE, Check, Field, Kind, Values
from .models import Place, PlaceKind, PlaceModel, Site

if TYPE_CHECKING:
    from .farmfields import Text


@dataclass(frozen=True, slots=True)
class Row:
    """An entry as it is stored now, in the words of the file."""

    values: Values
    is_retired: bool = False


@dataclass
class Farm:
    """The site that is read or written, with the keys of its rows."""

    site: Site
    sections: Mapping[str, Section]
    at: datetime
    _pks: dict[str, dict[str, int]] = field(default_factory=dict)
    _keys: dict[str, dict[int, str]] = field(default_factory=dict)
    _places: dict[str, Place] = field(default_factory=dict)

    def _read(self, section: str) -> None:
        if section not in self._pks:
            model: Any = self.sections[section].key_model
            pks = dict(model.objects.filter(site=self.site).values_list("key", "pk"))
            self._pks[section] = pks
            self._keys[section] = {pk: key for key, pk in pks.items()}

    def pk(self, section: str, key: str) -> int:
        """Give the primary key of an entry's row; 1 query a section, then remembered."""
        self._read(section)
        return self._pks[section][key]

    def key(self, section: str, pk: int) -> str:
        """Give the key of a row, as `pk` the other way round."""
        self._read(section)
        return self._keys[section][pk]

    def forget(self, section: str) -> None:
        """Read a section's keys anew, since rows were made."""
        self._pks.pop(section, None)

    def place(self, key: str) -> Place:
        """Give a place of the site: 1 query for all of them, then remembered."""
        if key not in self._places:
            self._places = {place.key: place for place in Place.objects.filter(site=self.site)}
        return self._places[key]


class Rows:
    """Entries whose fields are columns of one model. Rooms override what differs."""

    def __init__(self, model: type[models.Model]) -> None:
        self.model: Any = model

    def select(self, farm: Farm, section: Section) -> models.QuerySet[Any]:
        rows = self.model.objects.filter(site=farm.site).order_by("pk")
        if self.model is Place:
            return rows.filter(kind__in=section.place_kinds)  # type: ignore[no-any-return]
        return rows.select_related("place") if section.is_placed else rows  # type: ignore[no-any-return]

    def in_use(self, farm: Farm, section: Section) -> models.QuerySet[Any]:
        """Give a row for each entry in use, so that they can be counted. No query."""
        rows = self.select(farm, section)
        if section.is_placed and self.model is not Place:
            return rows.filter(place__retired_at=None)
        names = {column.name for column in self.model._meta.concrete_fields}
        return rows.filter(retired_at=None) if "retired_at" in names else rows

    def read(self, farm: Farm, section: Section) -> dict[str, Row]:
        """Give all entries by key, retired ones too: 1 query and one for each key looked up."""
        rows = self.select(farm, section)
        return {self.key_of(row): self.read_row(farm, section, row) for row in rows}

    def key_of(self, row: Any) -> str:
        return str(_bearer(row).key)

    def read_row(self, farm: Farm, section: Section, row: Any) -> Row:
        columns = [f for f in section.fields if f.is_column]
        values = {f.name: read_column(farm, f, _holder(f, row)) for f in columns}
        return Row(values, getattr(_bearer(row), "retired_at", None) is not None)

    def create(self, farm: Farm, section: Section, key: str, values: Values) -> None:
        """Make the row of a new entry; a placed one finds its place made."""
        if self.model is Place:
            row = farm.place(key)
        elif section.is_placed:
            row = self.model(site=farm.site, place=farm.place(key))
        else:
            row = self.model(site=farm.site, key=key)
        self.fill(farm, section, row, values)

    def update(self, farm: Farm, section: Section, key: str, values: Values) -> None:
        """Set some fields of an entry that has a row."""
        self.fill(farm, section, self.find(farm, key), values)

    def subject_id(self, farm: Farm, section: Section, key: str) -> object:
        """Whom the section's topic is about."""
        return farm.pk(section.name, key)

    def find(self, farm: Farm, key: str) -> Any:
        name = "place__key" if issubclass(self.model, PlaceModel) else "key"
        return self.model.objects.get(**{name: key}, site=farm.site)

    def fill(self, farm: Farm, section: Section, row: Any, values: Values) -> None:
        for f in section.fields:
            if f.is_column and f.name in values:
                write_column(farm, f, _holder(f, row), values[f.name])
        if section.is_placed:
            _bearer(row).save()
        row.save(force_insert=row._state.adding)  # a place is a key known beforehand

    def retire(self, farm: Farm, section: Section, key: str, at: datetime | None) -> None:
        """Take an entry out of use, or with None back into use; its row stays."""
        del section  # an override may need it
        bearer = _bearer(self.find(farm, key))
        bearer.retired_at = at
        bearer.save(update_fields=["retired_at"])


def _bearer(row: Any) -> Any:
    """What bears an entry's key: the row, or the place it stands on."""
    return row.place if isinstance(row, PlaceModel) else row


def _holder(f: Field, row: Any) -> Any:
    return _bearer(row) if f.is_on_place else row


def read_column(farm: Farm, f: Field, row: Any) -> Any:
    """Give a column's value as the file would write it."""
    if f.kind is Kind.ROW:
        pk = getattr(row, f"{f.name}_id")
        return None if pk is None else farm.key(f.refers_to, pk)
    value = getattr(row, f.name)
    if isinstance(value, time):
        return value.strftime("%H:%M")
    if isinstance(value, Decimal):
        return float(value)
    return value.isoformat() if isinstance(value, date) else value


def write_column(farm: Farm, f: Field, row: Any, value: Any) -> None:
    """Set a column from the file's value."""
    if f.kind is Kind.ROW:
        setattr(row, f"{f.name}_id", None if value is None else farm.pk(f.refers_to, value))
    elif f.kind is Kind.TIME and not f.is_list:
        setattr(row, f.name, time.fromisoformat(value))
    elif f.kind is Kind.DATE and value is not None:
        setattr(row, f.name, date.fromisoformat(value))
    else:
        setattr(row, f.name, value)


@dataclass(frozen=True)
class Section:
    """One list of the farm file, or one mapping where there is only one such thing.

    `tidy` puts what has no order of its own in one order, so that equal entries compare equal.
    `topic` is the change that each entry made, changed or retired is told by, beside `farm.loaded`.
    """

    name: str
    help: Text
    fields: tuple[Field, ...]
    rows: Rows
    place_kinds: tuple[PlaceKind, ...] = ()
    key_fields: tuple[str, ...] = ("key",)
    is_single: bool = False
    check: Check | None = None
    tidy: Callable[[Values], Values] = dict
    topic: str = ""

    @property
    def is_placed(self) -> bool:
        return bool(self.place_kinds)

    @property
    def key_model(self) -> type[models.Model]:
        """Where the keys of the section's rows stand."""
        return Place if self.is_placed else self.rows.model


class SingleRows(Rows):
    """The one row of a site, whose key in the file is the section's name."""

    def read(self, farm: Farm, section: Section) -> dict[str, Row]:
        row = self.model.objects.filter(site=farm.site).first()
        return {section.name: self.read_row(farm, section, row)} if row else {}

    def create(self, farm: Farm, section: Section, key: str, values: Values) -> None:
        self.fill(farm, section, self.model(site=farm.site), values)

    def find(self, farm: Farm, key: str) -> Any:
        return self.model.objects.get(site=farm.site)


class TitledRows(Rows):
    """Entries that have a title in each language; the English one is the row's name."""

    def __init__(self, model: type[models.Model], title_field: str = "title") -> None:
        super().__init__(model)
        self.title_field = title_field

    def fill(self, farm: Farm, section: Section, row: Any, values: Values) -> None:
        if self.title_field in values:
            row.name = values[self.title_field]["en"][:100]
        super().fill(farm, section, row, values)


FARTHEST_M = 50_000  # of any place from the parlor: farther is another farm

NAME = Field("name", Kind.TEXT, _("What people call it"), high=100)


def place_fields() -> tuple[Field, ...]:
    """Fields of every entry that is a place on the farm."""
    return (
        Field("label", Kind.TEXT, _("Short label, such as 7"), "", high=60, is_on_place=True),
        Field(
            "x_m", Kind.NUMBER, _("Metres east of the parlor"), 0,
            low=-FARTHEST_M, high=FARTHEST_M, is_on_place=True,
        ),
        Field(
            "y_m", Kind.NUMBER, _("Metres north of the parlor"), 0,
            low=-FARTHEST_M, high=FARTHEST_M, is_on_place=True,
        ),
        Field(
            "parent", Kind.ROW, _("Place it is part of"), None,
            refers_to=ANY_PLACE, is_on_place=True,
        ),
        Field(
            "drains_to", Kind.ROW, _("Where its water goes next"), None,
            refers_to=ANY_PLACE, is_on_place=True,
        ),
    )  # fmt: skip

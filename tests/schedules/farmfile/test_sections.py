"""The declarations and the models say the same: no column is forgotten, no default differs."""

from typing import Any

import pytest
from django.db.models import Field as Column
from django.db.models.fields import NOT_PROVIDED

from equipment.site.farmfields import REQUIRED, Field, Kind
from equipment.site.farmrows import Section, TitledRows
from equipment.site.models import Place
from schedules.farmfile.models import LoadedEntry
from schedules.farmfile.registry import all_sections

# What a row has of itself: its identity, what the engine sets, and what history adds.
OWN = {
    "id",
    "site",
    "key",
    "place",
    "retired_at",
    "actor",
    "user",
    "version",
    "created_at",
    "changed_at",
}
SECTIONS = {
    name: section
    for name, section in all_sections().items()
    if section.rows.model not in (LoadedEntry, Place)
}
SHARED = {"crew_pens", "shift_demand"}  # several rows an entry


def columns_of(section: Section) -> dict[str, Any]:
    own = OWN | ({"name"} if isinstance(section.rows, TitledRows) else set())
    columns: list[Column[Any, Any]] = section.rows.model._meta.concrete_fields
    return {column.name: column for column in columns if column.name not in own}


def fields_of(section: Section) -> dict[str, Field]:
    return {f.name: f for f in section.fields if f.is_column and not f.is_on_place}


@pytest.mark.parametrize("name", sorted(set(SECTIONS) - SHARED))
def test_every_column_has_its_key_in_the_file(name: str) -> None:
    assert set(columns_of(SECTIONS[name])) == set(fields_of(SECTIONS[name]))


@pytest.mark.parametrize("name", sorted(set(SECTIONS) - SHARED))
def test_defaults_are_those_of_the_models(name: str) -> None:
    columns = columns_of(SECTIONS[name])
    for f in fields_of(SECTIONS[name]).values():
        column = columns[f.name]
        if f.default is REQUIRED or column.default is NOT_PROVIDED:
            continue
        assert column.get_default() == f.default, f.name


def test_names_of_fields_carry_their_unit_or_are_counts() -> None:
    """style.md, Names: units are part of the name of every physical quantity."""
    units = ("_m", "_m2", "_m3", "_m_min", "_m3_h", "_m3_s", "_kg", "_kg_m3", "_kg_stall_d")
    times = ("_s", "_min", "_h", "_d", "_mm", "_deg", "_frac", "_per_d", "_kc")
    more = ("_m2_cow", "_kw", "_y", "_degc", "_ha", "_km", "_kg_ha", "_per_l", "_sd", "_factor")
    points = ("_price",)  # of a roster: one weighed against the other
    money = {"price", "list_price", "salvage", "worth_now", "visit_cost"}
    plain = money | {"side_slope", "ramp_slope", "depth_volume"}  # run over rise; m and m³ in turn
    for section in all_sections().values():
        for f in section.fields:
            if f.kind is Kind.NUMBER and f.name not in plain:
                assert f.name.endswith((*units, *times, *more, *points)), f"{section.name}.{f.name}"


def test_every_reference_names_a_section() -> None:
    known = all_sections()
    for section in known.values():
        for f in (*section.fields, *(part for each in section.fields for part in each.parts)):
            assert (f.kind in (Kind.ROW, Kind.ROW_KEY)) == bool(f.refers_to)
            assert not f.refers_to or f.refers_to in known

"""What people call the sections and fields of the farm file, and what their values say."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.machines.models import MachineKind
from equipment.site.farmfields import Field, Kind
from equipment.site.farmrows import NAME, Section
from equipment.site.models import Place
from equipment.site.queries import DEFAULT_WORDS, word
from equipment.site.units import unit_shown
from schedules.farmfile.entries import KEY_FIELD
from schedules.farmfile.typed import NUMBERS, has_unit, say_number

from .base import Desk
from .wording import say_said

Names = Mapping[str, Mapping[str, str]]  # what entries are called, by section and key

GROUPS = (
    (gettext_lazy("The farm"), ("site", "places", "weather_stations", "invented_weather")),
    (gettext_lazy("Cows and milking"), ("parlors", "pens", "alleys", "bed_groups")),
    (gettext_lazy("Flush water"), ("tanks", "flush_timers", "flush_water")),
    (gettext_lazy("Sand"), ("lanes", "slabs", "pads", "bays", "pile_places", "sand_practice")),
    (
        gettext_lazy("Solids and manure"),
        ("basins", "basin_practice", "haul_trucks", "crop_fields", "field_windows"),
    ),
    (
        gettext_lazy("People"),
        (
            *("skills", "crews", "workers", "shift_patterns", "rotations", "crew_pens"),
            *("shift_demand", "roster_rules", "worker_rules"),
        ),
    ),
    (
        gettext_lazy("Upkeep and costs"),
        ("machines", "machine_practice", "service_items", "check_items"),
    ),
    (gettext_lazy("Work and plans"), ("standing_orders", "walk_lines", "plan_rules", "year_ahead")),
)

NOUNS = {  # sections that the farm has its own word for
    "parlors": "parlor",
    "pens": "pens",
    "alleys": "alley",
    "bed_groups": "bed_group",
    "tanks": "tank",
    "lanes": "lane",
    "slabs": "slab",
    "pads": "pads",
    "bays": "bay",
    "pile_places": "pile_place",
    "basins": "basins",
    "machines": "machines",
    "crews": "crew",
}
TITLES = {
    "site": gettext_lazy("The farm itself"),
    "places": gettext_lazy("Other places"),
    "weather_stations": gettext_lazy("Weather stations"),
    "invented_weather": gettext_lazy("Invented weather"),
    "flush_timers": gettext_lazy("Flush valves"),
    "flush_water": gettext_lazy("Figures for flush water"),
    "sand_practice": gettext_lazy("Figures for sand"),
    "basin_practice": gettext_lazy("Figures for solids and manure"),
    "haul_trucks": gettext_lazy("Trucks for manure"),
    "crop_fields": gettext_lazy("Crops and what they need"),
    "field_windows": gettext_lazy("When manure may go out"),
    "skills": gettext_lazy("Skills"),
    "workers": gettext_lazy("People"),
    "shift_patterns": gettext_lazy("Shifts"),
    "rotations": gettext_lazy("Days on and off"),
    "crew_pens": gettext_lazy("Who looks after what"),
    "shift_demand": gettext_lazy("How many a shift needs"),
    "roster_rules": gettext_lazy("Rules of the roster"),
    "worker_rules": gettext_lazy("Rules for one person"),
    "machine_practice": gettext_lazy("Figures for costs"),
    "service_items": gettext_lazy("Services"),
    "check_items": gettext_lazy("Checks before a start"),
    "standing_orders": gettext_lazy("Standing orders"),
    "walk_lines": gettext_lazy("The walk-round"),
    "plan_rules": gettext_lazy("Weights of the plan"),
    "year_ahead": gettext_lazy("Figures for the year ahead"),
}
NEEDED = {  # without these no day can be planned
    "parlors": gettext_lazy("without it nobody knows when cows are away"),
    "pens": gettext_lazy("without them there are no beds to care for"),
    "bed_groups": gettext_lazy("without them there are no beds to care for"),
    "skills": gettext_lazy("without them no work can be given to anybody"),
    "workers": gettext_lazy("without them there is nobody to plan for"),
    "shift_patterns": gettext_lazy("without them nobody is ever here"),
    "rotations": gettext_lazy("without them nobody is ever here"),
    "standing_orders": gettext_lazy("without them there is no work"),
}
HINTS = {  # what a label alone does not tell
    "seconds_per_stall_s": gettext_lazy(
        "A full turn shared out over the stalls: a turn of 8 min with 80 stalls is 6."
    ),
    "starts_local": gettext_lazy("By the farm's own clock, such as 05:15."),
    "duration_min": gettext_lazy("8 hours are 480."),
    "anchor_on": gettext_lazy(
        "Any day on which their days on begin, also one long past: the turn is counted from it."
    ),
    "return_hold_min": gettext_lazy(
        "By so much longer the beds can be worked. Without it most pens have no time for them: the "
        "page of pens says how much each has."
    ),
    "trigger_rule": gettext_lazy(
        "For a pen's visit `within: usable`, the time in which its beds can be worked. Each day at "
        'seven: `rrule: FREQ=DAILY`, `at_local: "07:00"`, `from_on: 2026-01-01`, `window_h: 3`.'
    ),
    "target": gettext_lazy(
        "`kind: bed_group` for all rows of beds, `kind: pen` for all pens. Only some: on the next "
        "line `keys: [beds-1a, beds-1b]`."
    ),
    "duration": gettext_lazy(
        "`base_min: 2` each time, and `per_stall_min: 0.4` for each stall. Others: per_cow_min, "
        "per_m_min of alley, per_m2_min of bay, per_t_min of sand."
    ),
}
COMPOSED_UNITS = {
    "clock_h": gettext_lazy("hours on the clock"),
    "fuel_price_per_l": gettext_lazy("money a liter"),
    "haul_h_d": gettext_lazy("hours a day"),
    "holding_m2_cow": gettext_lazy("m² a cow"),
    "latitude_deg": "°",
    "life_y": gettext_lazy("years"),
    "loader_h_d": gettext_lazy("hours a day"),
    "loader_loads_h": gettext_lazy("loads an hour"),
    "loads_h": gettext_lazy("loads an hour"),
    "longitude_deg": "°",
    "manned_h_d": gettext_lazy("hours a day"),
    "repose_deg": "°",
    "season_frac": gettext_lazy("times the mean"),
    "shop_cost_per_h": gettext_lazy("money an hour"),
    "stops_per_1000_h": gettext_lazy("in 1,000 hours"),
    "turns_per_d": gettext_lazy("times a day"),
    "use_kg_stall_d": gettext_lazy("kg a stall a day"),
    "weep_frac_d": gettext_lazy("share a day, 0 to 1"),
}
YES, NO = gettext_lazy("Yes"), gettext_lazy("No")
IN_TURN = "depth_volume"  # depths and volumes: no one unit


def title_of(desk: Desk, name: str) -> str:
    """Say what people call a section."""
    return desk.noun(NOUNS[name]) if name in NOUNS else str(TITLES[name])


def label_of(desk: Desk, f: Field) -> str:
    """Say what people call a field, with the farm's own nouns."""
    if f.name == KEY_FIELD.name:
        return _("Key")
    if f.name == NAME.name:
        return _("Name")
    return own_words(desk, str(f.help))


def own_words(desk: Desk, text: str) -> str:
    """Put the farm's own nouns in the place of the usual ones."""
    usual = DEFAULT_WORDS.get(desk.language, DEFAULT_WORDS["en"])
    own = {
        said.casefold(): word(desk.caller.site, desk.language, noun)
        for noun, said in usual.items()
        if word(desk.caller.site, desk.language, noun) != said
    }
    if not own:
        return text
    longest_first = sorted(own, key=len, reverse=True)
    pattern = rf"\b({'|'.join(re.escape(said) for said in longest_first)})\b"
    return re.sub(pattern, lambda found: _as_written(found[0], own), text, flags=re.IGNORECASE)


def _as_written(said: str, own: Mapping[str, str]) -> str:
    """Give the farm's word with a small letter where the usual one had it."""
    new = own[said.casefold()]
    return new if said[:1].isupper() else new[:1].lower() + new[1:]


def choices_of(section: Section, f: Field) -> dict[str, str]:
    """Give what each choice of a field says."""
    if f.name == "machine_kinds":
        return {value: str(label) for value, label in MachineKind.choices}
    model: Any = Place if f.is_on_place else section.rows.model
    said = dict(model._meta.get_field(f.name).choices or ())
    return {value: str(said.get(value, value)) for value in f.choices}


def unit_of(f: Field) -> str:
    """Say the unit in which a number is stored and typed; '' for a count or a weight."""
    if f.name in COMPOSED_UNITS:
        return str(COMPOSED_UNITS[f.name])
    if f.name.endswith("_frac"):
        return _("share, 0 to 1")
    return unit_shown(f.name, "si").symbol if has_unit(f) else ""


def on_farm(desk: Desk, f: Field, value: Any) -> str:
    """Say a number in the unit that the farm reads, where that is another one; else ''."""
    if value is None or f.is_list or not has_unit(f) or isinstance(value, bool):
        return ""
    is_same = desk.unit(f.name) == unit_shown(f.name, "si").symbol and not f.name.endswith("_frac")
    return "" if is_same else f"{desk.shown(value, f.name):,.4g} {desk.unit(f.name)}"


def say_shown(desk: Desk, section: Section, f: Field, value: Any, names: Names) -> str:
    """Say a value as the tables show it."""
    if value is None or value in ("", [], {}):
        return "–"
    if f.kind is Kind.WORDS:
        return say_said(value, desk.language)
    if f.kind is Kind.PART:
        return ", ".join(_say_part(desk, f, each, names) for each in value)
    if f.kind is Kind.DOCUMENT:
        return ", ".join(f"{name}: {part}" for name, part in value.items())
    if f.is_list:
        return ", ".join(_say_one(desk, section, f, item, names) for item in value)
    return _say_one(desk, section, f, value, names)


def _say_part(desk: Desk, f: Field, each: Mapping[str, Any], names: Names) -> str:
    said = []
    for part in f.parts:
        value = each[part.name]
        if value is None:
            continue
        if part.refers_to:
            said.append(names.get(part.refers_to, {}).get(value, value))
        elif part.kind is Kind.DATE:
            said.append(say_date(desk, value))
        else:
            said.append(f"{say_number(value)} {unit_of(part)}".strip())
    return " ".join(said)


def _say_one(desk: Desk, section: Section, f: Field, value: Any, names: Names) -> str:
    if f.kind is Kind.BOOL:
        return str(YES if value else NO)
    if f.kind is Kind.CHOICE:
        return choices_of(section, f).get(value, str(value))
    if f.refers_to:
        return names.get(f.refers_to, {}).get(value, str(value))
    if f.kind is Kind.DATE:
        return say_date(desk, value)
    if f.kind in NUMBERS:
        return on_farm(desk, f, value) or f"{value:,.10g} {unit_of(f)}".strip()
    return str(value)


def say_date(desk: Desk, iso: str) -> str:
    """Say a day with its year: Wed 4 Mar 2026."""
    on = date.fromisoformat(iso)
    return f"{desk.day(on)} {on.year}"


def name_of(desk: Desk, section: Section, key: str, values: Mapping[str, Any], names: Names) -> str:
    """Say what people call an entry."""
    if section.is_single:
        return title_of(desk, section.name)
    if section.is_placed:
        kind = values.get("kind") if section.name == "places" else section.place_kinds[0]
        noun = word(desk.caller.site, desk.language, str(kind))
        label = values.get("label")
        return f"{noun} {label}" if label else f"{noun} ({key})"
    if section.key_fields != (KEY_FIELD.name,):
        by_name = {f.name: f for f in section.fields}
        parts = zip(section.key_fields, key.split("/"), strict=True)
        return " · ".join(names.get(by_name[f].refers_to, {}).get(k, k) for f, k in parts)
    for f in section.fields:
        if f.kind is Kind.WORDS and values.get(f.name):
            return say_said(values[f.name], desk.language)
    return str(values.get("name") or key)

"""Which rooms bring sections to the farm file, the ground floor first."""

from importlib import import_module

from equipment.site.farmrows import Section

ROOMS = (
    "equipment.site",
    "equipment.barns",
    "equipment.weather",
    "equipment.parlor",
    "equipment.machines",
    "equipment.flushing",
    "equipment.basins",
    "equipment.sandyard",
    "crews.people",
    "crews.roster",
    "schedules.work",
    "schedules.handover",
    "schedules.dayplan",
    "schedules.outlook",
    "schedules.farmfile",
)


def all_sections() -> dict[str, Section]:
    """Sections by name, in the order they are written: what is referred to comes first."""
    parts = (import_module(f"{room}.farmpart") for room in ROOMS)
    return {section.name: section for part in parts for section in part.SECTIONS}

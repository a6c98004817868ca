"""Dry sand in the unit that a site reads: refusals and pages say it alike."""

from __future__ import annotations

from django.utils.translation import gettext as _

from equipment.site.models import Site
from equipment.site.units import UnitSystem, to_shown


def tons_unit(site: Site) -> str:
    """Name the unit of sand on a site."""
    return _("tons") if site.units == "us" else "t"


def tons(site: Site, dry_kg: float) -> float:
    """Give dry kilograms in the site's unit."""
    system: UnitSystem = "us" if site.units == "us" else "si"
    return to_shown(dry_kg / 1000, "dry_t", system)


def say_tons(site: Site, dry_kg: float, digits: int = 0) -> str:
    """Say dry kilograms in the site's unit."""
    return f"{tons(site, dry_kg):,.{digits}f} {tons_unit(site)}"

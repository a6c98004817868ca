"""Looks at a site as overlays of its farm file would have it, and takes all of that back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from equipment.site.models import Site
from schedules.outlook.calc.scenario import Scenario
from schedules.outlook.facts import AsIs, as_is, scenario_of
from schedules.outlook.services import Compared

from .document import Node, read_text
from .services import dump_site, load_site


def compare_with(
    site: Site, what_ifs: Sequence[tuple[str, Sequence[Node]]], at: datetime
) -> list[Compared]:
    """Give the farm as it is, and as each named set of overlays would have it."""
    before = as_is(site.pk)
    found = [Compared("", scenario_of(site, at))]
    if what_ifs:
        document = read_text(dump_site(site=site, at=at).encode(), f"{site.slug}.yaml")
        found += [
            Compared(name, scenario_with(site, document, overlays, at, before))
            for name, overlays in what_ifs
        ]
    return found


def scenario_with(
    site: Site, document: Node, overlays: Sequence[Node], at: datetime, before: AsIs
) -> Scenario:
    """Load the overlays in a transaction of their own, look, and roll it back.

    So a what-if reads what the site itself would: whatever a farm file can say can be asked. Others
    that write this site wait for it, a second or two.
    """
    with transaction.atomic():
        load_site(document=document, overlays=overlays, at=at, take_file=True)
        scenario = scenario_of(site, at, before)
        transaction.set_rollback(True)
    return scenario

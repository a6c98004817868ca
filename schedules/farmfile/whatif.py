"""Looks at a site as overlays of its farm file would have it, and takes all of that back."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from equipment.barns.models import BedGroup, Pen
from equipment.sandyard.models import Bay
from equipment.site.models import Site
from schedules.outlook.calc.scenario import Scenario
from schedules.outlook.facts import AsIs, as_is, scenario_of
from schedules.outlook.services import Compared

from .document import Node, read_text
from .services import dump_site, load_site

SINGLE_FIELDS = {
    "sand_practice": ("cure_d", "turns_per_d", "recovery_frac"),
    "year_ahead": ("rain_factor", "buy_lead_d"),
}


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


def change_overlay(site: Site, change: Mapping[str, float | str]) -> Node:
    """Write a change asked for by its few fields as an overlay: 3 queries."""
    sections: dict[str, Any] = {}
    for section, names in SINGLE_FIELDS.items():
        told = {name: change[name] for name in names if name in change}
        if told:
            sections[section] = told
    if "without_pad" in change:
        bays = Bay.objects.filter(site=site, pad__place__key=change["without_pad"])
        sections["pads"] = [{"key": change["without_pad"], "drop": True}]
        sections["bays"] = [{"key": bay.place.key, "drop": True} for bay in bays]
    if "more_cows_frac" in change:
        more = 1 + float(change["more_cows_frac"])
        pens = Pen.objects.filter(site=site, place__retired_at=None).select_related("place")
        rows = BedGroup.objects.filter(site=site, place__retired_at=None).select_related("place")
        sections["pens"] = [{"key": p.place.key, "n_cows": round(p.n_cows * more)} for p in pens]
        sections["bed_groups"] = [
            {"key": row.place.key, "n_stalls": round(row.n_stalls * more)} for row in rows
        ]
    return read_text(json.dumps(sections).encode(), _("the change asked for"))

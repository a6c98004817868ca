"""Verbs of the farm file: load a site from one, write a site to one."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import yaml
from django.db import transaction

from equipment.site.farmfields import Values
from equipment.site.farmrows import Farm, Section
from equipment.site.models import Site
from equipment.site.services import create_site
from equipment.site.writes import site_write

from .document import Node
from .entries import FarmReader
from .loading import Loader, LoadReport
from .registry import all_sections


def load_site(
    *,
    document: Node,
    overlays: Sequence[Node] = (),
    at: datetime,
    take_file: bool = False,
    dry_run: bool = False,
) -> LoadReport:
    """Make the site what the file says, in one transaction, or raise BrokenFileError.

    The same file twice changes nothing. What was changed by hand since the last load is kept
    and listed unless `take_file`. `dry_run` does all of it and takes it back.
    """
    sections = all_sections()
    reader = FarmReader(sections)
    reader.add(document, is_overlay=False)
    for overlay in overlays:
        reader.add(overlay, is_overlay=True)
    everything = reader.read_all()
    with transaction.atomic():
        site = _locked_site(everything["site"]["site"])
        with site_write(site.id, at) as write:
            farm = Farm(site, sections, at)
            loader = Loader(farm, write, reader.entries, take_file=take_file)
            report = loader.load(everything)
        if dry_run:
            transaction.set_rollback(True)
    return report


def _locked_site(facts: Values) -> Site:
    """Find or make the site; two loads of one site come one after the other."""
    if not Site.objects.filter(slug=facts["slug"]).exists():
        create_site(**facts)
    return Site.objects.select_for_update(no_key=True).get(slug=facts["slug"])


def dump_site(*, site: Site, at: datetime) -> str:
    """Write the site as a farm file: 1 query a section, and one for each kind of key."""
    farm = Farm(site, all_sections(), at)
    document = {s.name: _dump_section(farm, s) for s in farm.sections.values()}
    text: str = yaml.safe_dump(
        {name: entries for name, entries in document.items() if entries},
        allow_unicode=True,
        default_flow_style=None,
        sort_keys=False,
        width=110,
    )
    return text


def _dump_section(farm: Farm, section: Section) -> Any:
    rows = section.rows.read(farm, section)
    entries = [
        as_written(section, key, row.values) for key, row in rows.items() if not row.is_retired
    ]
    return entries[0] if section.is_single and entries else entries


def as_written(section: Section, key: str, values: Values) -> Values:
    """Give an entry as a file says it, without what is as the default has it."""
    named = {} if section.is_single or section.key_fields != ("key",) else {"key": key}
    said = {f.name: values[f.name] for f in section.fields if values[f.name] != f.default}
    return {**named, **said}

"""`manage.py load_site FILE`: make a site what a farm file says."""

import json
import sys
from argparse import ArgumentParser
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from schedules.farmfile.document import read_document
from schedules.farmfile.faults import BrokenFileError, Fault
from schedules.farmfile.loading import LoadReport
from schedules.farmfile.manual import write_manual
from schedules.farmfile.registry import all_sections
from schedules.farmfile.services import load_site


class Command(BaseCommand):
    help = _("Read a farm file and make the site what it says; all of it or nothing.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, nargs="?")
        parser.add_argument("--fields", action="store_true", help=_("say what a file may hold"))
        parser.add_argument("--overlay", type=Path, action="append", default=[])
        parser.add_argument("--site", help=_("refuse a file of another site"))
        parser.add_argument("--dry-run", action="store_true", help=_("say what it would do"))
        parser.add_argument("--take-file", action="store_true", help=_("undo changes by hand"))
        parser.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["fields"]:
            self.stdout.write(write_manual(all_sections().values()))
            return
        if options["file"] is None:
            raise CommandError(_("Name a farm file, or ask with --fields what it may hold."))
        try:
            report = self._load(options)
        except OSError as error:
            raise CommandError(str(error)) from error
        except BrokenFileError as error:
            if options["json"]:
                self.stdout.write(json.dumps({"faults": [asdict(f) for f in error.faults]}))
            n_faults = len(error.faults)
            head = _("Nothing was changed: %(n)d faults.") % {"n": n_faults}
            raise CommandError(f"{error.detail}\n{head}") from error
        self.stdout.write(json.dumps(asdict(report)) if options["json"] else describe(report))

    def _load(self, options: dict[str, Any]) -> LoadReport:
        documents = []
        for path in (options["file"], *options["overlay"]):
            self._progress(_("reading %(file)s") % {"file": path.name})
            documents.append(read_document(path))
        slug = documents[0].at("site.slug")
        if options["site"] and slug.value != options["site"]:
            reason = _("is not %(site)s") % {"site": options["site"]}
            remedy = _("Choose the right file, or leave --site out.")
            raise BrokenFileError([Fault(slug.file, slug.line, "site.slug", None, reason, remedy)])
        self._progress(_("checking and writing"))
        return load_site(
            document=documents[0],
            overlays=documents[1:],
            at=datetime.now(UTC),
            take_file=options["take_file"],
            dry_run=options["dry_run"],
        )

    def _progress(self, text: str) -> None:
        if sys.stderr.isatty():
            self.stderr.write(f"… {text}", style_func=str)


def describe(report: LoadReport) -> str:
    """Say in lines what a load did."""
    counts = (
        (_("new"), report.created),
        (_("changed"), report.changed),
        (_("retired"), report.retired),
    )
    lines = [
        f"{word}: {', '.join(f'{n} {section}' for section, n in sorted(count.items()))}"
        for word, count in counts
        if count
    ]
    lines += [
        _("kept as set by hand: %(section)s %(key)s %(field)s = %(now)s (file: %(in_file)s)")
        % asdict(kept)
        for kept in report.kept_by_hand
    ]
    return "\n".join([f"{report.site}:", *(lines or [_("nothing to change")])])

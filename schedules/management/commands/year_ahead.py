"""`manage.py year_ahead`: how the year may go, and what a change of the farm would do."""

from __future__ import annotations

import json
import sys
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _

from equipment.site.errors import DomainError
from equipment.site.models import Site
from schedules.farmfile.document import read_document
from schedules.farmfile.faults import BrokenFileError
from schedules.farmfile.whatif import compare_with
from schedules.outlook.models import OutlookRun
from schedules.outlook.services import begin_run, do_part


class Command(BaseCommand):
    help = _("Reckon the year ahead; killed and run again it goes on, to the same bits.")

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--site", help=_("short name; may be left out when there is one site"))
        parser.add_argument("--members", type=int, default=1000)
        parser.add_argument("--seed", type=int, help=_("today's date as a number when left out"))
        parser.add_argument(
            "--overlay",
            type=Path,
            action="append",
            default=[],
            help=_("compare with the farm as this overlay has it; may be given several times"),
        )
        parser.add_argument("--json", action="store_true", help=_("codes and numbers, no words"))

    def handle(self, *args: Any, **options: Any) -> None:
        site = _find_site(options["site"])
        try:
            run = self._begin(site, options)
            self._work(run)
        except OSError as error:
            raise CommandError(str(error)) from error
        except (BrokenFileError, DomainError) as error:
            raise CommandError(error.detail) from error
        if options["json"]:
            self.stdout.write(json.dumps(_document(run), indent=2))
            return
        self.stdout.write("\n".join(describe(run)))

    def _begin(self, site: Site, options: dict[str, Any]) -> OutlookRun:
        if options["members"] < 2:
            raise CommandError(_("--members must be 2 or more."))
        at = datetime.now(UTC)
        what_ifs = [
            (path.stem.replace("_", " "), [read_document(path)]) for path in options["overlay"]
        ]
        seed = options["seed"]
        return begin_run(
            site_id=site.pk,
            compared=compare_with(site, what_ifs, at),
            seed=at.astimezone(site.zone).date().toordinal() if seed is None else seed,
            n_members=options["members"],
            at=at,
            in_background=False,
        )

    def _work(self, run: OutlookRun) -> None:
        n_parts = run.chunks.count()
        while do_part(run=run, at=datetime.now(UTC)):
            n_done = run.chunks.exclude(done_at=None).count()
            if sys.stderr.isatty():
                words = _("part %(n)d of %(of)d") % {"n": n_done, "of": n_parts}
                self.stderr.write(f"… {words}", style_func=str)


def _find_site(slug: str | None) -> Site:
    sites = list(Site.objects.filter(slug=slug) if slug else Site.objects.all())
    if len(sites) != 1:
        known = ", ".join(Site.objects.order_by("slug").values_list("slug", flat=True))
        raise CommandError(_("Name one site with --site. Known: %s.") % (known or "-"))
    return sites[0]


def _document(run: OutlookRun) -> dict[str, Any]:
    return {
        "run": run.pk,
        "seed": run.seed,
        "digest": run.digest,
        "code_version": run.code_version,
        "libraries": run.libraries,
        "result": run.result,
    }


def describe(run: OutlookRun) -> list[str]:
    """Say in lines what came of a run; percent of members, give or take a standard error."""
    result = run.result or {}
    lines = [
        _("%(n)d members, seed %(seed)d, bits %(digest)s, code %(code)s")
        % {
            "n": run.n_members,
            "seed": run.seed,
            "digest": run.digest[:12],
            "code": run.code_version[:12],
        },
        "",
        _("Chance that it has happened by the end of, % (± standard error)"),
    ]
    months = [date.fromisoformat(on).strftime("%Y-%m-%d") for on in result["month_ends"]]
    lines.append(f"{'':<16}" + "".join(f"{on:>13}" for on in months))
    for event, chances in result["chances"].items():
        cells = (f"{_share(c['frac'], c['se_frac']):>13}" for c in chances)
        lines.append(f"{event:<16}" + "".join(cells))
    return [
        *lines,
        "",
        *_say_seasons(result),
        "",
        *_say_compared(result),
        "",
        *_say_settings(result),
    ]


def _share(frac: float, se_frac: float) -> str:
    return f"{100 * frac:.1f} ± {100 * se_frac:.1f}"


def _say_seasons(result: dict[str, Any]) -> list[str]:
    lines = [_("Seasons: chance of too few hours, %; need over hours there, P10 / P50 / P90")]
    for season in result["seasons"]:
        cells = []
        for name in ("people", "loaders"):
            short, need = season[name]["short"], season[name]["need_frac"]
            shown = " / ".join(f"{share:.2f}" for share in need)
            cells.append(f"{name} {_share(short['frac'], short['se_frac'])} ({shown})")
        lines.append(f"{season['season']:<16}" + "   ".join(cells))
    return lines


def _say_compared(result: dict[str, Any]) -> list[str]:
    lines = [_("Compared on the same members: mean ± se; difference ± se")]
    for one in result["compared"]:
        lines.append(one["name"] or _("the farm as it is"))
        for code, told in one["outcomes"].items():
            line = f"  {code:<16}{told['mean']:>12.3f} ± {told['se']:<9.3f}"
            if one["name"]:
                line += f"{told['difference']:>+12.3f} ± {told['difference_se']:.3f}"
            lines.append(line)
    return lines


def _say_settings(result: dict[str, Any]) -> list[str]:
    lines = [
        _(
            "What matters most: tonnes that must come from outside; chance that a basin runs over, "
            "%; at the lower and higher value"
        )
    ]
    for line in result["settings"]:
        cells = []
        for side in ("low", "high"):
            moved, over = line[side]["missing_t"], line[side]["basin_over"]
            shown = (
                f"{line[side]['value']:,.5g}: {moved['difference']:+.0f} ± {moved['se']:.0f}; "
                f"{100 * over['difference']:+.1f} ± {100 * over['se']:.1f}"
            )
            cells.append(f"{shown:>40}")
        lines.append(f"{line['setting']:<16}" + "".join(cells))
    return lines

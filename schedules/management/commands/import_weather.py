"""`manage.py import_weather FILE --site SLUG --station KEY`: record weather from a CSV file."""

import json
import sys
from argparse import ArgumentParser
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from equipment.weather.models import WeatherStation
from schedules.farmfile.faults import BrokenFileError
from schedules.farmfile.weather import import_weather


class Command(BaseCommand):
    help = _(
        "Record daily or hourly weather from a CSV file. Daily: date, tmin_degc, tmax_degc, "
        "rain_mm, and as known rh_min_frac, rh_max_frac, wind_2m_m_s, solar_mj_m2_d, ea_kpa, "
        "et0_mm. Hourly: hour_start_local, temp_degc, rain_mm, and as known rh_frac, "
        "wind_2m_m_s, solar_mj_m2_h. ET0 is computed where it is not given."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--site", required=True)
        parser.add_argument("--station", required=True)
        parser.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        station = self._station(options["site"], options["station"])
        if sys.stderr.isatty():
            text = _("reading %(file)s") % {"file": options["file"].name}
            self.stderr.write(f"… {text}", style_func=str)
        try:
            raw = options["file"].read_bytes()
            report = import_weather(
                station=station, raw=raw, file=options["file"].name, at=datetime.now(UTC)
            )
        except OSError as error:
            raise CommandError(str(error)) from error
        except BrokenFileError as error:
            if options["json"]:
                self.stdout.write(json.dumps({"faults": [asdict(f) for f in error.faults]}))
            raise CommandError(f"{error.detail}\n{_('Nothing was recorded.')}") from error
        if options["json"]:
            self.stdout.write(json.dumps(asdict(report)))
            return
        for fault in report.faults:
            self.stderr.write(str(fault))
        self.stdout.write(
            _("%(n_used)d of %(n_rows)d rows used: %(n_new)d new days, %(n_changed)d changed")
            % asdict(report)
        )

    def _station(self, site: str, key: str) -> WeatherStation:
        stations = WeatherStation.objects.filter(site__slug=site, retired_at=None)
        station = stations.filter(key=key).select_related("site").first()
        if station is None:
            known = ", ".join(stations.order_by("key").values_list("key", flat=True)) or "-"
            words = {"site": site, "station": key, "known": known}
            text = _("There is no station %(station)s at %(site)s. Known there: %(known)s.")
            raise CommandError(text % words)
        return station

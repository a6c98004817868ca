"""What the year ahead brings to the farm file: the farm's own figures for it."""

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import Complaint, Entry, Field, Kind
from equipment.site.farmrows import Section, SingleRows

from .models import OutlookPractice

N_MONTHS = 12


def check_practice(entry: Entry) -> Iterator[Complaint]:
    if len(entry.values["season_frac"]) not in {0, N_MONTHS}:
        reason = _("must have twelve figures, January first, or none")
        yield Complaint("season_frac", reason, _("Give each month's use over the year's mean."))


YEAR_AHEAD = Section(
    name="year_ahead",
    help=_("The farm's own figures for the year ahead"),
    is_single=True,
    rows=SingleRows(OutlookPractice),
    check=check_practice,
    fields=(
        Field("buy_lead_d", Kind.WHOLE, _("Days from order to delivery of sand; without it none "
              "is bought"), None, low=1, high=180),
        Field("truck_kg", Kind.NUMBER, _("Dry sand of one delivery"), 24_000, low=100,
              high=10_000_000),
        Field("season_frac", Kind.NUMBER, _("Use of each month over the year's mean, January "
              "first"), [], low=0, high=5, is_list=True),
        Field("use_sd_frac", Kind.NUMBER, _("How far a year's use may be off"), 0.05, low=0,
              high=1),
        Field("screening_loss_frac", Kind.NUMBER, _("Lost when a layer is picked up"), 0, low=0,
              high=0.9),
        Field("log_rate_sd", Kind.NUMBER, _("How far drying on the pads may be off"), 0.15, low=0,
              high=1),
        Field("rain_factor", Kind.NUMBER, _("On every day's rain"), 1, low=0, high=10),
        Field("solids_sd_frac", Kind.NUMBER, _("How far a year's solids in the basins may be off"),
              0.1, low=0, high=1),
        Field("clean_m3_d", Kind.NUMBER, _("Taken out of a basin on a day of cleaning"), 0, low=0,
              high=100_000),
        Field("clean_rest_d", Kind.WHOLE, _("Days a basin drains before it is cleaned"), 30, low=0,
              high=365),
        Field("clean_months", Kind.WHOLE, _("Months in which basins can be cleaned; all without "
              "it"), [], low=1, high=N_MONTHS, is_list=True),
        Field("loader_up_frac", Kind.NUMBER, _("Share of the time a loader is fit"), 0.9, low=0,
              high=1),
        Field("loader_h_d", Kind.NUMBER, _("Hours a day a fit loader has a driver"), 12, low=0,
              high=24),
    ),
)  # fmt: skip

SECTIONS = (YEAR_AHEAD,)

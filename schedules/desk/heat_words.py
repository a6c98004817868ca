"""Heat in words: rest for people, load on cows, and what the figures rest on."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.site.calc.heat_rest import Effort, HeatCode, WorkRest
from equipment.site.calc.local_time import local_date_of
from equipment.weather.calc.cow_heat import ThiBand, ThiFormula
from equipment.weather.heat import DayHeat, heat_of_day

from .base import Desk

EFFORTS = {
    Effort.LIGHT: gettext_lazy("Light work"),
    Effort.MODERATE: gettext_lazy("Moderate work"),
    Effort.HEAVY: gettext_lazy("Heavy work"),
}
BANDS = {
    ThiBand.NONE: gettext_lazy("no heat load"),
    ThiBand.MILD: gettext_lazy("mild heat load"),
    ThiBand.MODERATE: gettext_lazy("moderate heat load"),
    ThiBand.SEVERE: gettext_lazy("severe heat load"),
    ThiBand.EMERGENCY: gettext_lazy("emergency"),
}
FORMULAS = {
    ThiFormula.NRC: "1.8 T + 32 − (0.55 − 0.55 RH)(1.8 T − 26)",
    ThiFormula.MADER: "0.8 T + RH (T − 14.4) + 46.4",
    ThiFormula.DEW_POINT: "T + 0.36 Td + 41.2",
}


@dataclass(frozen=True, slots=True)
class HeatWords:
    """What the part about heat says."""

    is_warning: bool
    basis: str
    people: str
    rests: list[tuple[str, str]]
    cows: str
    formula: str


def heat_words(desk: Desk) -> HeatWords | None:
    """Say how hot today is; None without weather of the last days: 2 queries."""
    heat = heat_of_day(desk.site_id, local_date_of(desk.now, desk.caller.site.zone))
    if heat is None:
        return None
    return HeatWords(
        is_warning=heat.is_hot_for_people or heat.is_hot_for_cows,
        basis=_say_basis(desk, heat),
        people=_("Heat index %(index)s in the shade; up to 15 °F (8 °C) more in full sun.")
        % {"index": desk.amount(heat.heat_index_degc, "heat_index_degc")},
        rests=[(str(EFFORTS[effort]), say_rest(rest)) for effort, rest in heat.rests.items()],
        cows=_("THI %(thi).0f at the hottest hour: %(band)s.")
        % {"thi": heat.thi, "band": BANDS[heat.thi_band]},
        formula=FORMULAS[heat.thi_formula],
    )


def say_rest(rest: WorkRest) -> str:
    """Say the minutes of rest in an hour."""
    if rest.code is HeatCode.CAUTION:
        return _("extreme caution: no minutes are given, a lead decides")
    if not rest.rest_min_per_h:
        return _("no extra rest")
    return _("%d min of rest in each hour") % rest.rest_min_per_h


def _say_basis(desk: Desk, heat: DayHeat) -> str:
    words = (
        _("Forecast for %(day)s (%(source)s): up to %(tmax)s, humidity then %(rh).0f%%")
        if heat.source
        else _("Recorded %(day)s: up to %(tmax)s, humidity then %(rh).0f%%")
    )
    said = words % {
        "day": desk.day(heat.on),
        "source": heat.source,
        "tmax": desk.amount(heat.tmax_degc, "tmax_degc"),
        "rh": 100 * heat.rh_frac,
    }
    return said + (_(", estimated from the night") if heat.is_rh_estimated else "") + "."

"""The year ahead: what may run short and when, what a change would do, what matters most."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils import formats
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from equipment.sandyard.models import Pad
from schedules.outlook.models import OutlookRun, OutlookState
from schedules.outlook.queries import latest_result, runs_of

from .base import Desk
from .charts import Chart, Drawing
from .sand_words import tons_unit

EVENTS = {
    "no_sand": gettext_lazy("No released sand left for the beds"),
    "below_safety": gettext_lazy("Released sand below the safety stock"),
    "pads_full": gettext_lazy("No free bay for drained sand"),
    "lane_full": gettext_lazy("Slab full: the lane cannot be scooped"),
    "piles_full": gettext_lazy("No pile place for a dry layer"),
    "basin_at_line": gettext_lazy("A basin at its line and none to take over"),
    "basin_over": gettext_lazy("A basin runs over"),
}
SEASONS = {
    "winter": gettext_lazy("Winter"),
    "spring": gettext_lazy("Spring"),
    "summer": gettext_lazy("Summer"),
    "autumn": gettext_lazy("Autumn"),
}
OUTCOMES = {
    "no_sand": gettext_lazy("Chance that sand runs out, %"),
    "below_safety": gettext_lazy("Chance of sand below the safety stock, %"),
    "pads_full": gettext_lazy("Chance that no bay is free, %"),
    "basin_over": gettext_lazy("Chance that a basin runs over, %"),
    "people_short": gettext_lazy("Chance of a season short of people, %"),
    "loaders_short": gettext_lazy("Chance of a season short of loaders, %"),
    "no_sand_d": gettext_lazy("Days without sand"),
    "pads_full_d": gettext_lazy("Days without a free bay"),
    "missing_t": gettext_lazy("Dry sand bought or lacking, %(tons)s"),
    "cleaned_m3": gettext_lazy("Taken out of basins, %(m3)s"),
}
N_CHANCES = 6  # the first so many are chances
SETTINGS = {
    "use": gettext_lazy("Sand a day into the beds, %(tons)s (± 10 %%)"),
    "recovery": gettext_lazy("Sand that lanes give back, %% (± 5)"),
    "cure": gettext_lazy("Days of cure (± 10)"),
    "turns": gettext_lazy("Turns a day (± 1)"),
    "layer_capacity": gettext_lazy("Water left by drainage, %% of the volume (± 1.5)"),
    "pad_rate": gettext_lazy("Bare wet pad against grass (± 15 %%)"),
    "bays": gettext_lazy("Bays (± 2)"),
    "rain": gettext_lazy("Rain, %% of the weather record's (± 20 %%)"),
    "cleaning": gettext_lazy("Basins: %(m3)s taken out a day (± 20 %%)"),
    "solids": gettext_lazy("Basins: %(m3)s of solids a day (± 20 %%)"),
}
PATHS = {
    "released_kg": gettext_lazy("Released sand, %(tons)s"),
    "wet_kg": gettext_lazy("Wet sand not spread yet, %(tons)s"),
    "free_bays": gettext_lazy("%(bay)s: how many are free"),
    "basin_frac": gettext_lazy("%(basins)s: the fullest that fills, percent of its line"),
    "people_h": gettext_lazy("Work of people, hours a day"),
    "loader_h": gettext_lazy("Work of loaders, hours a day"),
}
# Stored in one unit, read in another: the name that ends in its SI unit, and a factor before that
SHOWN = {
    "released_kg": ("dry_t", 1e-3),
    "wet_kg": ("dry_t", 1e-3),
    "use": ("dry_t", 1e-3),
    "missing_t": ("dry_t", 1.0),
    "cleaned_m3": ("volume_m3", 1.0),
    "cleaning": ("volume_m3", 1.0),
    "solids": ("volume_m3", 1.0),
}
PERCENTS = {"basin_frac", "recovery", "layer_capacity", "rain"}


@dataclass(frozen=True, slots=True)
class TableLine:
    """A name and its cells."""

    name: str
    cells: list[str]


def year_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: 3 queries."""
    runs = list(runs_of(desk.site_id)[:5])
    done = latest_result(desk.site_id)
    pads = Pad.objects.filter(site_id=desk.site_id, place__retired_at=None)
    context = {
        "runs": [(run, desk.moment(run.made_at), _say_state(run)) for run in runs],
        "is_running": any(run.state == OutlookState.RUNNING for run in runs),
        "pads": [
            (pad.place.key, desk.place(pad.place))
            for pad in pads.select_related("place").order_by("place__key")
        ],
    }
    return context | _result_context(desk, done) if done else context


def _shown(desk: Desk, name: str, value: float) -> float:
    """Give a figure of a year in the unit that its words name."""
    if name in PERCENTS:
        return 100 * value
    quantity, factor = SHOWN.get(name, ("", 1.0))
    return desk.shown(value * factor, quantity) if quantity else value


def _units(desk: Desk) -> dict[str, str]:
    return {"tons": tons_unit(desk), "m3": desk.unit("volume_m3")}


def _say_number(value: float) -> str:
    """Say three figures of a small number and all whole ones of a large one."""
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


def _say_state(run: Any) -> str:
    if run.state == OutlookState.RUNNING:
        words = _("Running: %(done)d of %(all)d parts done")
        return words % {"done": run.n_parts_done, "all": run.n_parts}
    if run.state == OutlookState.FAILED:
        return f"{run.get_state_display()}: {run.error}"
    return str(run.get_state_display())


def _result_context(desk: Desk, run: OutlookRun) -> dict[str, Any]:
    result = run.result or {}
    months = [_say_month(on) for on in result["month_ends"]]
    return {
        "run": run,
        "made": desk.moment(run.made_at),
        "finding": _finding(run, result),
        "months": months,
        "chances": [
            TableLine(str(EVENTS[event]), [_say_chance(c) for c in chances])
            for event, chances in result["chances"].items()
        ],
        "seasons": [_season_line(line) for line in result["seasons"]],
        "fans": [_fan(desk, name, result) for name in PATHS],
        "compared_names": [one["name"] for one in result["compared"]],
        "compared": _compared_lines(desk, result),
        "settings": [_setting_line(desk, line) for line in result["settings"]],
        "tons": tons_unit(desk),
        "n_setting": result["settings"][0]["n_members"] if result["settings"] else 0,
        "inputs": run.inputs["compared"][0]["scenario"],
    }


def _say_month(on: str) -> str:
    return formats.date_format(date.fromisoformat(on), "j M Y")


def _finding(run: OutlookRun, result: dict[str, Any]) -> str:
    sand, basins = (result["chances"][event][-1] for event in ("no_sand", "basin_over"))
    words = ngettext(
        "Of %(n)d possible year, sand runs out in %(sand)s and a basin runs over in %(basin)s.",
        "Of %(n)d possible years, sand runs out in %(sand)s and a basin runs over in %(basin)s.",
        run.n_members,
    )
    return words % {"n": run.n_members, "sand": _say_chance(sand), "basin": _say_chance(basins)}


def _say_chance(told: dict[str, float]) -> str:
    """Say a chance with its 95 % interval, which tells something of none and all too."""
    low, high = 100 * told["low_frac"], 100 * told["high_frac"]
    return f"{100 * told['frac']:.1f} % ({low:.1f}–{high:.1f})"


def _season_line(line: dict[str, Any]) -> TableLine:
    cells = []
    for who in ("people", "loaders"):
        need = " / ".join(f"{100 * share:.0f}" for share in line[who]["need_frac"])
        cells += [_say_chance(line[who]["short"]), need]
    return TableLine(str(SEASONS[line["season"]]), cells)


def _compared_lines(desk: Desk, result: dict[str, Any]) -> list[TableLine]:
    lines = []
    for index, (code, words) in enumerate(OUTCOMES.items()):
        cells = []
        for one in result["compared"]:
            told = {
                name: 100 * value if index < N_CHANCES else _shown(desk, code, value)
                for name, value in one["outcomes"][code].items()
            }
            shown = _say_mean(told["mean"], told["se"], 1)
            if one["name"]:
                more = _say_mean(told["difference"], told["difference_se"], 1, sign="+")
                shown = f"{shown}; {more}"
            cells.append(shown)
        name = str(words) if index < N_CHANCES else str(words) % _units(desk)
        lines.append(TableLine(name, cells))
    return lines


def _say_mean(value: float, se: float, digits: int, sign: str = "") -> str:
    return f"{value:{sign},.{digits}f} ± {se:,.{digits}f}"


def _setting_line(desk: Desk, line: dict[str, Any]) -> TableLine:
    cells = []
    for side in ("low", "high"):
        told = line[side]
        moved = {
            name: _shown(desk, "missing_t", value) for name, value in told["missing_t"].items()
        }
        days, over = told["pads_full_d"], told["basin_over"]
        cells += [
            _say_number(_shown(desk, line["setting"], told["value"])),
            _say_mean(moved["difference"], moved["se"], 0, sign="+"),
            _say_mean(days["difference"], days["se"], 1, sign="+"),
            _say_mean(100 * over["difference"], 100 * over["se"], 1, sign="+"),
        ]
    return TableLine(str(SETTINGS[line["setting"]]) % _units(desk), cells)


def _fan(desk: Desk, name: str, result: dict[str, Any]) -> Chart:
    """Draw the range of one figure week by week: a small multiple."""
    nouns = {"bay": desk.noun("bay"), "basins": desk.noun("basins")}
    words = str(PATHS[name]) % (nouns | _units(desk))
    low, middle, high = (
        [_shown(desk, name, value) for value in band] for band in result["paths"][name]
    )
    days = result["week_ends"]
    finding = _("%(what)s: middle of the years, and the range of eight in ten") % {"what": words}
    rows = tuple(
        (_say_month(on), f"{a:,.1f}", f"{b:,.1f}", f"{c:,.1f}")
        for on, a, b, c in zip(days, low, middle, high, strict=True)
    )
    return Chart(
        key=f"fan-{name}",
        finding=finding,
        svg=draw_fan(
            key=f"fan-{name}", bands=(low, middle, high), days=days, title=words, desc=finding
        ),
        heads=(_("Week to"), _("1 in 10 below"), _("Middle"), _("1 in 10 above")),
        rows=rows,
    )


def draw_fan(
    *,
    key: str,
    bands: tuple[list[float], list[float], list[float]],
    days: list[str],
    title: str,
    desc: str,
) -> SafeString:
    """Draw for each week a bar from the low to the high tenth, and a line at the middle."""
    width, height, left, floor = 380.0, 150.0, 46.0, 126.0
    low, middle, high = bands
    most = max([*high, 1e-9])
    step = (width - left - 6) / max(len(days), 1)
    drawing = Drawing(key, width, height, title, desc)

    def y_of(value: float) -> float:
        return floor - (floor - 10) * value / most

    for share in (0.0, 0.5, 1.0):
        drawing.line(left, y_of(share * most), width, y_of(share * most))
        drawing.text(left - 4, y_of(share * most) + 4, _say_number(share * most), "soft", "end")
    for index, on in enumerate(days):
        x = left + index * step
        top = y_of(high[index])
        said = f"{_say_month(on)}: {low[index]:,.1f} / {middle[index]:,.1f} / {high[index]:,.1f}"
        drawing.rect((x, top, step, max(y_of(low[index]) - top, 1.0)), "bar soft", said)
        drawing.line(x, y_of(middle[index]), x + step, y_of(middle[index]), "level")
        if index % 13 == 0:
            label = formats.date_format(date.fromisoformat(on), "M")
            drawing.text(x, height - 6, label, "soft")
    return drawing.done()

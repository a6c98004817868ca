"""The one place where SI meets feet, gallons, tons and degrees Fahrenheit. Inside all is SI.

The unit of a quantity is the end of its name (`depth_m`, `flow_m3_s`): that suffix finds here what
a farm reads and types instead. Unit symbols are the same in both languages, so nothing here is
marked for translation.
"""

import re
from dataclasses import dataclass
from typing import Literal

from equipment.site.calc.refusal import RefusedValueError
from equipment.site.calc.typed_number import parse_number

UnitSystem = Literal["si", "us"]

# The international foot and pound are exact by definition: US Federal Register 24 FR 5348 (1959),
# restated in NIST SP 811 (2008), Appendix B.8. The US gallon is 231 cubic inches (same table).
_FT_M = 0.3048
_LB_KG = 0.45359237
_GAL_M3 = 231 * 0.0254**3
_G_M_S2 = 9.80665  # standard gravity: 3rd CGPM (1901), BIPM SI Brochure


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit that people read and type: base value = value x factor + offset.

    Parameters
    ----------
    symbol : str
        As shown beside a number.
    measures : str
        What it measures; units convert only within the same.
    factor : float
        Base units per unit.
    offset : float
        Base units at zero of this unit.
    spellings : tuple of str
        Other ways in which people type it, in small letters, English and Spanish.
    """

    symbol: str
    measures: str
    factor: float
    offset: float = 0.0
    spellings: tuple[str, ...] = ()


_ALL = (
    Unit("m", "length", 1.0, spellings=("meter", "meters", "metro", "metros")),
    Unit("cm", "length", 0.01),
    Unit("mm", "length", 0.001),
    Unit("km", "length", 1_000.0),
    Unit("ft", "length", _FT_M, spellings=("'", "foot", "feet", "pie", "pies")),
    Unit("in", "length", 0.0254, spellings=('"', "inch", "inches", "pulgada", "pulgadas")),
    Unit("yd", "length", 0.9144, spellings=("yard", "yards", "yarda", "yardas")),
    Unit("mi", "length", 5_280 * _FT_M, spellings=("mile", "miles", "milla", "millas")),
    Unit("m²", "area", 1.0, spellings=("m2", "m^2")),
    Unit("ha", "area", 10_000.0),
    Unit("ft²", "area", _FT_M**2, spellings=("ft2", "ft^2", "sq ft")),
    # 43 560 square feet of the international foot: the survey foot was retired at the end of 2022
    # (NIST and NOAA, Federal Register 85 FR 62698)
    Unit("acre", "area", 43_560 * _FT_M**2, spellings=("ac", "acres")),
    Unit("m³", "volume", 1.0, spellings=("m3", "m^3")),
    Unit("L", "volume", 0.001, spellings=("l", "liter", "liters", "litro", "litros")),
    Unit("gal", "volume", _GAL_M3, spellings=("gallon", "gallons", "galón", "galones")),
    Unit("ft³", "volume", _FT_M**3, spellings=("ft3", "ft^3", "cu ft")),
    Unit("yd³", "volume", 0.9144**3, spellings=("yd3", "yd^3", "cu yd", "yards", "yardas")),
    Unit("kg", "mass", 1.0),
    Unit("t", "mass", 1_000.0, spellings=("tonne", "tonnes")),
    Unit("lb", "mass", _LB_KG, spellings=("lbs", "pound", "pounds", "libra", "libras")),
    Unit("ton", "mass", 2_000 * _LB_KG, spellings=("tons", "short ton", "short tons")),
    Unit("kg/d", "mass a day", 1.0),
    Unit("lb/d", "mass a day", _LB_KG, spellings=("lb/day",)),
    Unit("kg/m³", "density", 1.0, spellings=("kg/m3",)),
    Unit("lb/ft³", "density", _LB_KG / _FT_M**3, spellings=("lb/ft3",)),
    Unit("kg/ha", "mass on an area", 1.0),
    Unit("lb/acre", "mass on an area", _LB_KG / (43_560 * _FT_M**2 / 10_000)),
    Unit("t/ha", "mass on an area", 1_000.0),
    Unit("ton/acre", "mass on an area", 2_000 * _LB_KG / (43_560 * _FT_M**2 / 10_000)),
    Unit("kg/t", "content", 1.0),
    Unit("lb/ton", "content", 0.5),
    Unit("m/s", "speed", 1.0),
    Unit("m/min", "speed", 1 / 60),
    Unit("km/h", "speed", 1 / 3.6),
    Unit("ft/s", "speed", _FT_M),
    Unit("ft/min", "speed", _FT_M / 60),
    Unit("mph", "speed", 5_280 * _FT_M / 3_600, spellings=("mi/h",)),
    Unit("m³/s", "flow", 1.0, spellings=("m3/s",)),
    Unit("m³/h", "flow", 1 / 3_600, spellings=("m3/h",)),
    Unit("m³/d", "flow", 1 / 86_400, spellings=("m3/d",)),
    Unit("gal/min", "flow", _GAL_M3 / 60, spellings=("gpm",)),
    Unit("gal/h", "flow", _GAL_M3 / 3_600),
    Unit("gal/d", "flow", _GAL_M3 / 86_400, spellings=("gal/day",)),
    Unit("mm/h", "rain rate", 1.0),
    Unit("mm/d", "rain rate", 1 / 24),
    Unit("in/h", "rain rate", 25.4),
    Unit("in/d", "rain rate", 25.4 / 24, spellings=("in/day",)),
    Unit("°C", "temperature", 1.0, spellings=("c", "degc")),
    Unit("°F", "temperature", 5 / 9, -160 / 9, ("f", "degf")),
    Unit("kPa", "pressure", 1.0),
    Unit("bar", "pressure", 100.0),
    Unit("psi", "pressure", _LB_KG * _G_M_S2 / 0.0254**2 / 1_000),
    Unit("kW", "power", 1.0),
    Unit("hp", "power", 550 * _FT_M * _LB_KG * _G_M_S2 / 1_000),
    Unit("h", "time", 1.0, spellings=("hr", "hrs", "hour", "hours", "hora", "horas")),
    Unit("min", "time", 1 / 60, spellings=("mins", "minute", "minutes", "minuto", "minutos")),
    Unit("s", "time", 1 / 3_600, spellings=("sec", "second", "seconds", "segundo", "segundos")),
    Unit("d", "time", 24.0, spellings=("day", "days", "día", "días", "dia", "dias")),
    Unit("wk", "time", 168.0, spellings=("week", "weeks", "semana", "semanas")),
    Unit("%", "share", 0.01, spellings=("pct", "percent")),
    Unit("", "share", 1.0),
)
UNITS = {unit.symbol: unit for unit in _ALL}

# suffix of a name: its SI unit, and the unit a US farm reads
SUFFIXES = {
    "_m": ("m", "ft"),
    "_mm": ("mm", "in"),
    "_km": ("km", "mi"),
    "_m2": ("m²", "ft²"),
    "_ha": ("ha", "acre"),
    "_m3": ("m³", "yd³"),
    "_l": ("L", "gal"),
    "_kg": ("kg", "lb"),
    "_t": ("t", "ton"),
    "_kg_d": ("kg/d", "lb/d"),
    "_kg_ha": ("kg/ha", "lb/acre"),
    "_t_ha": ("t/ha", "ton/acre"),
    "_kg_t": ("kg/t", "lb/ton"),
    "_kg_m3": ("kg/m³", "lb/ft³"),
    "_m_s": ("m/s", "mph"),
    "_m_min": ("m/min", "ft/min"),
    "_m3_s": ("m³/s", "gal/min"),
    "_m3_h": ("m³/h", "gal/min"),
    "_m3_d": ("m³/d", "gal/d"),
    "_mm_h": ("mm/h", "in/h"),
    "_mm_d": ("mm/d", "in/d"),
    "_degc": ("°C", "°F"),
    "_kpa": ("kPa", "psi"),
    "_kw": ("kW", "hp"),
    "_h": ("h", "h"),
    "_min": ("min", "min"),
    "_s": ("s", "s"),
    "_d": ("d", "d"),
    "_frac": ("%", "%"),
}
_STORED_FRAC = ""  # a fraction is stored as 0 to 1 and shown in per cent
_QUANTITY = re.compile(r"([+-]?[0-9.,]+)\s*([^0-9].*)?", re.DOTALL)


def suffix_of(name: str) -> str:
    """Find the unit suffix of a name.

    Parameters
    ----------
    name : str
        Name of a field, column or key: ``"depth_mean_m"``, ``"flow_m3_s"``.

    Returns
    -------
    str
        The longest suffix that fits, such as ``"_m3_s"``.

    Raises
    ------
    RefusedValueError
        ``no_unit`` when the name ends in none.
    """
    fitting = [suffix for suffix in SUFFIXES if name.endswith(suffix)]
    if not fitting:
        raise RefusedValueError("no_unit", "name", name)
    return max(fitting, key=len)


def unit_shown(name: str, system: UnitSystem, us: str | None = None) -> Unit:
    """Return the unit in which a farm reads a quantity.

    Parameters
    ----------
    name : str
        Name that ends in a unit suffix.
    system : {'si', 'us'}
        What the site reads.
    us : str, optional
        Symbol of another US unit where the usual one is wrong: ``"gal"`` for a tank's ``_m3``,
        ``"ft/s"`` for a flush's ``_m_s``.

    Returns
    -------
    Unit
        Its symbol goes beside the number.

    Raises
    ------
    RefusedValueError
        ``no_unit`` for a name without one; ``not_a_unit`` when `us` measures something else.
    """
    si_symbol, us_symbol = SUFFIXES[suffix_of(name)]
    if system == "si":
        return UNITS[si_symbol]
    unit = UNITS[us or us_symbol]
    if unit.measures != UNITS[si_symbol].measures:
        raise RefusedValueError("not_a_unit", name, us)
    return unit


def to_shown(value: float, name: str, system: UnitSystem, us: str | None = None) -> float:
    """Turn a stored value into the number that a farm reads.

    Parameters
    ----------
    value : float
        In the SI unit that the name says.
    name : str
        Name that ends in a unit suffix.
    system : {'si', 'us'}
        What the site reads.
    us : str, optional
        As in `unit_shown`.

    Returns
    -------
    float
        Unrounded. A fraction comes out in per cent.
    """
    unit, stored = unit_shown(name, system, us), _stored_unit(name)
    if unit is stored:
        return value
    return (value * stored.factor + stored.offset - unit.offset) / unit.factor


def to_stored(value: float, name: str, unit: Unit) -> float:
    """Turn a number in some unit into the value to store.

    Parameters
    ----------
    value : float
        In `unit`.
    name : str
        Name that ends in a unit suffix.
    unit : Unit
        Unit of the value.

    Returns
    -------
    float
        In the SI unit that the name says.

    Raises
    ------
    RefusedValueError
        ``not_a_unit`` when the unit measures something else than the name.
    """
    stored = _stored_unit(name)
    if unit.measures != stored.measures:
        raise RefusedValueError("not_a_unit", name, unit.symbol)
    if unit is stored:
        return value
    return (value * unit.factor + unit.offset - stored.offset) / stored.factor


def parse_quantity(text: str, name: str, system: UnitSystem, us: str | None = None) -> float:
    """Read what somebody typed for a quantity, with or without its unit.

    Parameters
    ----------
    text : str
        ``"36 h"``, ``"250 hr"``, ``"1,250.5 lb"``, ``"8"``.
    name : str
        Name that ends in a unit suffix; says what is asked for.
    system : {'si', 'us'}
        What a number without unit is in.
    us : str, optional
        As in `unit_shown`.

    Returns
    -------
    float
        In the SI unit that the name says.

    Raises
    ------
    AmbiguousNumberError
        From `parse_number`.
    RefusedValueError
        ``not_a_number``; ``not_a_unit`` for a unit that is unknown or measures something else.

    Notes
    -----
    A ton is the US short ton, a t or tonne the metric one.
    """
    match = _QUANTITY.fullmatch(text.strip().replace("\N{MINUS SIGN}", "-"))
    if match is None:
        raise RefusedValueError("not_a_number", name, text)
    number, typed_unit = match.groups()
    unit = _unit_typed(typed_unit, name) if typed_unit else unit_shown(name, system, us)
    return to_stored(parse_number(number), name, unit)


def _stored_unit(name: str) -> Unit:
    suffix = suffix_of(name)
    return UNITS[_STORED_FRAC if suffix == "_frac" else SUFFIXES[suffix][0]]


def _unit_typed(typed: str, name: str) -> Unit:
    wanted = typed.strip().lower()
    for unit in _ALL:
        if unit.measures == _stored_unit(name).measures and (
            wanted == unit.symbol.lower() or wanted in unit.spellings
        ):
            return unit
    raise RefusedValueError("not_a_unit", name, typed)

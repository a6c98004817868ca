"""Units and typed numbers, against the factors that NIST publishes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.site.calc.refusal import RefusedValueError
from equipment.site.units import (
    SUFFIXES,
    UNITS,
    UnitSystem,
    parse_quantity,
    suffix_of,
    to_shown,
    to_stored,
    unit_shown,
)

# NIST Special Publication 811 (2008), Appendix B.8, "to convert from ... to ... multiply by", from
# memory, to the seven figures printed there; those marked exact are printed in bold. The acre is
# printed for the survey foot (4.046 873 E+03) and here for the international one (43 560 ft²).
NIST = [
    ("ft", "m", 3.048e-01),  # exact
    ("in", "m", 2.54e-02),  # exact
    ("yd", "m", 9.144e-01),  # exact
    ("mi", "m", 1.609344e03),  # exact
    ("ft²", "m²", 9.290304e-02),  # exact
    ("acre", "m²", 4.046856e03),
    ("gal", "m³", 3.785412e-03),
    ("ft³", "m³", 2.831685e-02),
    ("yd³", "m³", 7.645549e-01),
    ("lb", "kg", 4.535924e-01),
    ("ton", "kg", 9.071847e02),
    ("lb/ft³", "kg/m³", 1.601846e01),
    ("mph", "m/s", 4.4704e-01),  # exact
    ("ft/min", "m/s", 5.08e-03),  # exact
    ("gal/min", "m³/s", 6.309020e-05),
    ("gal/d", "m³/s", 4.381264e-08),
    ("psi", "kPa", 6.894757e00),
    ("hp", "kW", 7.456999e-01),
]


@pytest.mark.parametrize(("unit", "base", "factor"), NIST)
def test_a_factor_is_the_published_one(unit: str, base: str, factor: float) -> None:
    assert UNITS[unit].measures == UNITS[base].measures
    assert UNITS[unit].factor / UNITS[base].factor == pytest.approx(factor, rel=5e-7)


@pytest.mark.parametrize(
    # the two fixed points and the crossing of the scales: NIST SP 811, Appendix B.8, temperature
    ("degc", "degf"),
    [(0.0, 32.0), (100.0, 212.0), (-40.0, -40.0), (37.0, 98.6)],
)
def test_fahrenheit_keeps_its_fixed_points(degc: float, degf: float) -> None:
    assert to_shown(degc, "air_degc", "us") == pytest.approx(degf)
    assert parse_quantity(f"{degf}", "air_degc", "us") == pytest.approx(degc)


@pytest.mark.parametrize(
    ("name", "value", "us", "shown", "symbol"),
    [
        ("bucket_m3", 3.0, None, 3.924, "yd³"),
        ("tank_m3", 100.0, "gal", 26417.2, "gal"),
        ("wave_m_s", 1.524, "ft/s", 5.0, "ft/s"),
        ("wind_2m_m_s", 4.4704, None, 10.0, "mph"),
        ("rain_mm", 25.4, None, 1.0, "in"),
        ("rain_mm_h", 12.7, None, 0.5, "in/h"),
        ("moisture_wb_frac", 0.2, None, 20.0, "%"),
        ("pile_t", 90.718474, None, 100.0, "ton"),
        ("meter_h", 250.0, None, 250.0, "h"),
    ],
)
def test_a_us_farm_reads_its_own_units(
    name: str, value: float, us: str | None, shown: float, symbol: str
) -> None:
    assert to_shown(value, name, "us", us) == pytest.approx(shown, abs=0.05)
    assert unit_shown(name, "us", us).symbol == symbol


def test_the_longest_suffix_of_a_name_is_its_unit() -> None:
    names = ["depth_mean_m", "flow_m3_s", "bulk_kg_m3", "wind_2m_m_s", "duration_min"]
    assert [suffix_of(name) for name in names] == ["_m", "_m3_s", "_kg_m3", "_m_s", "_min"]


def test_a_name_without_unit_is_refused() -> None:
    with pytest.raises(RefusedValueError, match="no_unit"):
        suffix_of("cows")


def test_a_us_unit_of_another_measure_is_refused() -> None:
    with pytest.raises(RefusedValueError, match="not_a_unit"):
        unit_shown("tank_m3", "us", "ft")
    with pytest.raises(RefusedValueError, match="not_a_unit"):
        to_stored(1.0, "tank_m3", UNITS["ft"])


@given(
    suffix=st.sampled_from(sorted(SUFFIXES)),
    system=st.sampled_from(["si", "us"]),
    value=st.floats(-1e6, 1e6),
)
def test_what_is_shown_can_be_stored_again(suffix: str, system: UnitSystem, value: float) -> None:
    shown = to_shown(value, f"x{suffix}", system)
    stored = to_stored(shown, f"x{suffix}", unit_shown(f"x{suffix}", system))
    assert stored == pytest.approx(value, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "name", "system", "expected"),
    [
        ("36 h", "drain_h", "us", 36.0),
        ("250 hr", "every_h", "us", 250.0),
        ("2 días", "drain_h", "us", 48.0),
        ("90 min", "duration_h", "si", 1.5),
        ("1,250.5 lb", "load_kg", "si", 567.2172),
        ("12 ft", "width_m", "si", 3.6576),
        ("12", "width_m", "us", 3.6576),
        ("12", "width_m", "si", 12.0),
        ('6"', "depth_mm", "si", 152.4),
        ("3 yards", "bucket_m3", "us", 2.29366),
        ("3 tons", "load_t", "us", 2.72155),
        ("3 t", "load_t", "us", 3.0),
        ("95°F", "air_degc", "si", 35.0),
        ("35 C", "air_degc", "us", 35.0),
        ("20 %", "moisture_wb_frac", "us", 0.2),
        ("20", "moisture_wb_frac", "si", 0.2),
        ("900 GPM", "flow_m3_s", "us", 0.0567812),
    ],
)
def test_a_quantity_is_read_with_or_without_its_unit(
    text: str, name: str, system: UnitSystem, expected: float
) -> None:
    assert parse_quantity(text, name, system) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("36 ft", "not_a_unit"),
        ("36 parsecs", "not_a_unit"),
        ("h", "not_a_number"),
        ("", "not_a_number"),
        ("1.250 h", "ambiguous_number"),
        ("8 h 30 min", "not_a_unit"),
    ],
)
def test_a_quantity_that_cannot_be_read_is_refused(text: str, code: str) -> None:
    with pytest.raises(RefusedValueError) as refused:
        parse_quantity(text, "drain_h", "us")
    assert refused.value.code == code

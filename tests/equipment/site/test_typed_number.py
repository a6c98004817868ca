"""Typed numbers: what is read, what is asked back, what is refused.

The style is that of the English and Spanish number formats of the pages: a point for decimals,
commas between groups (Unicode CLDR 46, locales en-US and es-MX, symbols for numbers; from memory).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.site.calc.refusal import RefusedValueError
from equipment.site.calc.typed_number import AmbiguousNumberError, parse_number


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1,250", 1250.0),
        ("1250.5", 1250.5),
        ("1,250.5", 1250.5),
        ("1,250,000", 1_250_000.0),
        (" 42 ", 42.0),
        ("-3.5", -3.5),
        ("\N{MINUS SIGN}3.5", -3.5),
        ("0.250", 0.25),
        ("1.25", 1.25),
        ("1250.125", 1250.125),
        ("0", 0.0),
    ],
)
def test_a_number_is_read_in_the_one_style_of_both_languages(text: str, expected: float) -> None:
    assert parse_number(text) == expected


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("1.250", (1250.0, 1.25)),
        ("12,5", (12.5,)),
        ("0,250", (0.25,)),
        ("1,2500", (1.25,)),
        ("1.250,5", (1250.5,)),
        ("1.250.000", (1_250_000.0,)),
    ],
)
def test_a_number_with_two_readings_is_asked_back(text: str, readings: tuple[float, ...]) -> None:
    with pytest.raises(AmbiguousNumberError) as asked:
        parse_number(text)
    assert asked.value.readings == readings
    assert asked.value.code == "ambiguous_number"


@pytest.mark.parametrize(
    "text",
    [
        "",
        ".",
        "12,",
        "1,25,0",
        "1e3",
        "nan",
        "inf",
        "0x10",
        "١٢",
        "1 250",
        "--1",
        "1_000",
        "9" * 41,
    ],
)
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(RefusedValueError, match="not_a_number"):
        parse_number(text)


@given(st.integers(-(10**9), 10**9), st.integers(0, 99))
def test_our_own_way_of_writing_is_always_read(whole: int, hundredths: int) -> None:
    assert parse_number(f"{whole:,}.{hundredths:02}") == float(f"{whole}.{hundredths:02}")

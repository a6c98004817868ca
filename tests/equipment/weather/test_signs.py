"""What a foretold day is warned of, at the limits."""

from typing import Any

import pytest

from equipment.weather.calc.signs import WeatherSign, signs_of

MILD: dict[str, Any] = {
    "tmin_degc": 5.0,
    "rain_chance_frac": 0.1,
    "rain_mm": 5.0,
    "is_hot_for_people": False,
    "is_hot_for_cows": False,
}


@pytest.mark.parametrize(
    ("facts", "signs"),
    [
        ({}, ()),
        ({"tmin_degc": 0.0}, (WeatherSign.FROST,)),
        ({"tmin_degc": 0.1}, ()),
        ({"rain_chance_frac": 0.5}, (WeatherSign.RAIN,)),
        ({"rain_chance_frac": 0.49}, ()),
        ({"rain_chance_frac": 0.9, "rain_mm": 0.2}, ()),
        ({"is_hot_for_people": True}, (WeatherSign.HEAT_PEOPLE,)),
        (
            {"is_hot_for_cows": True, "rain_chance_frac": 1.0},
            (WeatherSign.HEAT_COWS, WeatherSign.RAIN),
        ),
    ],
)
def test_signs(facts: dict[str, Any], signs: tuple[WeatherSign, ...]) -> None:
    assert signs_of(**{**MILD, **facts}) == signs

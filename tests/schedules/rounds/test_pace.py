"""The pace that records show, against paces that made them."""

import pytest

from schedules.rounds.calc.pace import fit_pace

COWS = [180, 300, 300, 340, 320, 280, 260, 240, 220, 200]


def minutes(s_per_cow: float, between_s: float) -> list[float]:
    return [(n * s_per_cow + between_s) / 60 for n in COWS]


def test_a_known_pace_is_found_again() -> None:
    # 6.3 s a cow and 40 s between pens by hand; 6 s a stall: 1 - 6 / 6.3 = 4.8 % lost.
    fit = fit_pace(COWS, minutes(6.3, 40))
    assert fit is not None
    assert fit.s_per_cow == pytest.approx(6.3)
    assert fit.between_s == pytest.approx(40)
    assert fit.spread_s == pytest.approx(0, abs=1e-6)
    assert fit.loss_frac(6) == pytest.approx(0.0476, abs=1e-4)
    assert fit.n == 10


def test_wild_records_do_not_move_it() -> None:
    # The median slope stands until 29 % of points are wild: Sen 1968; here 2 of 10.
    told = minutes(6.3, 40)
    told[0] += 120
    told[4] += 90
    fit = fit_pace(COWS, told)
    assert fit is not None
    assert fit.s_per_cow == pytest.approx(6.3, rel=0.03)


@pytest.mark.parametrize("cows", [COWS[:5], [300] * 8])
def test_too_little_says_nothing(cows: list[int]) -> None:
    assert fit_pace(cows, [float(n) for n in cows]) is None


def test_records_that_contradict_a_pace_say_nothing() -> None:
    assert fit_pace(COWS, [100 - n / 10 for n in COWS]) is None


def test_a_missing_time_is_refused() -> None:
    with pytest.raises(ValueError, match="entry_min"):
        fit_pace(COWS, [30.0])

"""Numbers as people type them: one style in both languages, 1,250.5, and no guessing."""

import re

from equipment.site.calc.refusal import RefusedValueError

_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2}(,[0-9]{3})+(\.[0-9]+)?")
_DOT_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2}(\.[0-9]{3})+(,[0-9]+)?")
_COMMA_DECIMAL = re.compile(r"[+-]?[0-9]+,[0-9]+")
_LONGEST_INPUT = 40


class AmbiguousNumberError(RefusedValueError):
    """A number that people of two countries read in two ways: ask back, never guess.

    Parameters
    ----------
    text : str
        What was typed.
    readings : tuple of float
        What it may mean, to offer as choices.
    """

    def __init__(self, text: str, readings: tuple[float, ...]) -> None:
        super().__init__("ambiguous_number", "number", text)
        self.readings = readings


def parse_number(text: str) -> float:
    """Read a number as farms in both languages write it: 1,250.5.

    Parameters
    ----------
    text : str
        Digits, a point for decimals, commas between groups of three: ``1250.5``, ``1,250``.

    Returns
    -------
    float
        The number.

    Raises
    ------
    AmbiguousNumberError
        For ``1.250`` (one and a quarter, or a thousand and more?) and ``12,5``; both are refused
        rather than guessed.
    RefusedValueError
        ``not_a_number`` for anything else.
    """
    typed = text.strip().replace("\N{MINUS SIGN}", "-")
    if len(typed) > _LONGEST_INPUT:
        raise RefusedValueError("not_a_number", "number", text)
    if _GROUPED.fullmatch(typed):
        return float(typed.replace(",", ""))
    readings = _foreign_readings(typed)
    if readings:
        raise AmbiguousNumberError(text, readings)
    if not _NUMBER.fullmatch(typed):
        raise RefusedValueError("not_a_number", "number", text)
    return float(typed)


def _foreign_readings(typed: str) -> tuple[float, ...]:
    readings = []
    if _COMMA_DECIMAL.fullmatch(typed):
        readings.append(float(typed.replace(",", ".")))
    if _DOT_GROUPED.fullmatch(typed):
        readings.append(float(typed.replace(".", "").replace(",", ".")))
        if typed.count(".") == 1 and "," not in typed:
            readings.append(float(typed))
    return tuple(readings)

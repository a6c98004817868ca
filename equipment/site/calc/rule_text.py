"""Reading and refusing the text of a recurrence rule (RFC 5545 section 3.3.10), part by part."""

import re
from dataclasses import dataclass

from equipment.site.calc.refusal import RefusedValueError

MAX_COUNT = 10_000
MAX_A_DAY = 288  # one every five minutes: a finer rule is a meter's business, not a person's

_FREQS = ("YEARLY", "MONTHLY", "WEEKLY", "DAILY", "HOURLY", "MINUTELY")
_SUB_DAILY = ("HOURLY", "MINUTELY")
_WEEKDAY = r"(?:MO|TU|WE|TH|FR|SA|SU)"

# part: lowest and highest absolute value, and whether it may count from the end (RFC 5545 p. 41-44)
_NUMBERS = {
    "BYMINUTE": (0, 59, False),
    "BYHOUR": (0, 23, False),
    "BYMONTHDAY": (1, 31, True),
    "BYYEARDAY": (1, 366, True),
    "BYWEEKNO": (1, 53, True),
    "BYMONTH": (1, 12, False),
    "BYSETPOS": (1, 366, True),
}
_SINGLE = {"INTERVAL": (1, 9_999), "COUNT": (1, MAX_COUNT)}
_PATTERNS = {
    "FREQ": re.compile("|".join(_FREQS)),
    "UNTIL": re.compile(r"[0-9]{8}(T[0-9]{6}Z?)?"),
    "BYDAY": re.compile(rf"([+-]?[0-9]{{1,2}})?{_WEEKDAY}(,([+-]?[0-9]{{1,2}})?{_WEEKDAY})*"),
    "WKST": re.compile(_WEEKDAY),
}
# which parts a frequency may not carry: the table on page 44 of RFC 5545
_NOT_WITH = {
    "BYWEEKNO": ("MONTHLY", "WEEKLY", "DAILY", *_SUB_DAILY),
    "BYYEARDAY": ("MONTHLY", "WEEKLY", "DAILY"),
    "BYMONTHDAY": ("WEEKLY",),
    # a set of one instance an hour: nothing to choose from
    "BYSETPOS": _SUB_DAILY,
    # adds nothing to an interval of minutes
    "BYMINUTE": ("MINUTELY",),
}


@dataclass(frozen=True, slots=True)
class RuleParts:
    """The parts of a rule, each checked on its own and against its frequency.

    Parameters
    ----------
    values : dict of str to str
        Part name to its text, both in capitals.
    """

    values: dict[str, str]

    @property
    def freq(self) -> str:
        """Frequency, such as ``"DAILY"``."""
        return self.values["FREQ"]

    @property
    def interval(self) -> int:
        """How many of the frequency's periods lie between two that have instances."""
        return int(self.values.get("INTERVAL", "1"))

    @property
    def count(self) -> int | None:
        """Number of instances at which the rule ends."""
        return int(self.values["COUNT"]) if "COUNT" in self.values else None

    @property
    def until(self) -> str | None:
        """Text of the last moment or day."""
        return self.values.get("UNTIL")


def read_rule_text(text: str) -> RuleParts:
    """Read a rule and refuse what is wrong with it, naming the part.

    Parameters
    ----------
    text : str
        The value of an RRULE property, such as ``"FREQ=WEEKLY;BYDAY=MO,TH"``; a leading ``RRULE:``
        is allowed.

    Returns
    -------
    RuleParts
        The checked parts.

    Raises
    ------
    RefusedValueError
        The part is named; codes: ``missing``, ``unknown_part``, ``doubled``, ``not_a_value``,
        ``out_of_range``, ``not_together``, ``too_often``.

    Notes
    -----
    Taken from RFC 5545 (2009, section 3.3.10 and the table on its page 44) are all frequencies but
    SECONDLY, and all parts but BYSECOND: a crew does not work by the second. Narrower than the RFC:
    BYWEEKNO asks for BYDAY (the RFC takes the day from DTSTART, python-dateutil takes all seven),
    COUNT ends at 10 000, and a rule may not give more than 288 instances a day; BYSETPOS is not
    taken below DAILY, nor BYMINUTE with MINUTELY.
    """
    values = _split(text.strip().upper().removeprefix("RRULE:"))
    if "FREQ" not in values:
        raise RefusedValueError("missing", "FREQ", text)
    for name, value in values.items():
        _check_value(name, value)
    _check_together(values)
    return RuleParts(values)


def _split(text: str) -> dict[str, str]:
    values: dict[str, str] = {}
    for part in text.split(";"):
        name, equals, value = part.partition("=")
        if not equals or (name not in _NUMBERS and name not in _SINGLE and name not in _PATTERNS):
            raise RefusedValueError("unknown_part", name or "RRULE", part)
        if name in values:
            raise RefusedValueError("doubled", name, part)
        values[name] = value
    return values


def _check_value(name: str, value: str) -> None:
    if name in _PATTERNS:
        if not _PATTERNS[name].fullmatch(value):
            raise RefusedValueError("not_a_value", name, value)
    elif name in _SINGLE:
        _check_number(name, value, *_SINGLE[name], may_be_negative=False)
    else:
        low, high, may_be_negative = _NUMBERS[name]
        for item in value.split(","):
            _check_number(name, item, low, high, may_be_negative=may_be_negative)


def _check_number(name: str, text: str, low: int, high: int, *, may_be_negative: bool) -> None:
    if not re.fullmatch(r"[+-]?[0-9]{1,5}", text):
        raise RefusedValueError("not_a_value", name, text)
    number = int(text)
    if not low <= (abs(number) if may_be_negative else number) <= high:
        raise RefusedValueError("out_of_range", name, text)


def _check_together(values: dict[str, str]) -> None:
    freq = values["FREQ"]
    if "COUNT" in values and "UNTIL" in values:
        raise RefusedValueError("not_together", "UNTIL", "COUNT")
    for name, freqs in _NOT_WITH.items():
        if name in values and freq in freqs:
            raise RefusedValueError("not_together", name, freq)
    _check_weekdays(values)
    if "BYSETPOS" in values and not any(k.startswith("BY") and k != "BYSETPOS" for k in values):
        raise RefusedValueError("missing", "BYSETPOS", "another BY part")
    if _most_a_day(values) > MAX_A_DAY:
        raise RefusedValueError("too_often", "FREQ", freq)


def _check_weekdays(values: dict[str, str]) -> None:
    if "BYWEEKNO" in values and "BYDAY" not in values:
        raise RefusedValueError("missing", "BYDAY", "BYWEEKNO")
    ordinals = [int(text) for text in re.findall(r"[+-]?[0-9]+", values.get("BYDAY", ""))]
    if not ordinals:
        return
    if values["FREQ"] not in ("MONTHLY", "YEARLY") or "BYWEEKNO" in values:
        raise RefusedValueError("not_together", "BYDAY", values["FREQ"])
    highest = 5 if values["FREQ"] == "MONTHLY" or "BYMONTH" in values else 53
    if not all(1 <= abs(ordinal) <= highest for ordinal in ordinals):
        raise RefusedValueError("out_of_range", "BYDAY", values["BYDAY"])


def _most_a_day(values: dict[str, str]) -> int:
    freq, interval = values["FREQ"], int(values.get("INTERVAL", "1"))
    given_hours, given_minutes = (
        len(set(values[n].split(","))) if n in values else 0 for n in ("BYHOUR", "BYMINUTE")
    )
    if freq == "MINUTELY":
        return min((given_hours or 24) * 60, -(-1440 // interval))
    if freq == "HOURLY":
        return min(given_hours or 24, -(-24 // interval)) * (given_minutes or 1)
    return (given_hours or 1) * (given_minutes or 1)

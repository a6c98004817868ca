"""Spanish as the farm writes it: numbers as in English, no all-figure dates, lower-case months."""

DECIMAL_SEPARATOR = "."
THOUSAND_SEPARATOR = ","
NUMBER_GROUPING = 3
DATE_FORMAT = "D j M Y"
SHORT_DATE_FORMAT = "D j M"
MONTH_DAY_FORMAT = "j M"
YEAR_MONTH_FORMAT = "F Y"
TIME_FORMAT = "H:i"
DATETIME_FORMAT = "D j M Y H:i"
SHORT_DATETIME_FORMAT = "D j M H:i"

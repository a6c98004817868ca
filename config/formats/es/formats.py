"""Spanish as the farm writes it: numbers as in English, no all-figure dates, lower-case months."""

DECIMAL_SEPARATOR = "."
THOUSAND_SEPARATOR = ","
NUMBER_GROUPING = 3
DATE_FORMAT = "D j b Y"
SHORT_DATE_FORMAT = "D j b"
MONTH_DAY_FORMAT = "j b"
YEAR_MONTH_FORMAT = "F Y"
TIME_FORMAT = "H:i"
DATETIME_FORMAT = "D j b Y H:i"
SHORT_DATETIME_FORMAT = "D j b H:i"

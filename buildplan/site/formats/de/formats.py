"""Figures keep their point and days their ISO form in forms, as in every language: scales, drawings and codes write them so.

What a page shows can then be typed back. Where people read days, their own choice rules (`inventory.common.showing`).
"""

DECIMAL_SEPARATOR = "."
THOUSAND_SEPARATOR = ""
NUMBER_GROUPING = 0
DATE_FORMAT = "Y-m-d"
SHORT_DATE_FORMAT = "Y-m-d"
DATETIME_FORMAT = "Y-m-d H:i"
SHORT_DATETIME_FORMAT = "Y-m-d H:i"
TIME_FORMAT = "H:i"
DATE_INPUT_FORMATS = ["%Y-%m-%d"]
DATETIME_INPUT_FORMATS = ["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"]
TIME_INPUT_FORMATS = ["%H:%M", "%H:%M:%S"]

"""Codes as they are compared. Pure."""

import unicodedata


def key(code: str) -> str:
    """`code` without blanks and in one case: `an470 ad4-6` and `AN470AD4-6` are read alike."""
    return "".join(unicodedata.normalize("NFKC", code).split()).upper()

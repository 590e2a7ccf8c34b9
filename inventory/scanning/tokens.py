"""The tokens on our own labels. Pure.

A token is `RL`, 8 characters of Crockford's base 32 for 40 bits, and a check character (ISO 7064 mod 37,36): 11 capitals and
digits, so that a QR code stores them in its short alphabet and a person can type them.
"""

import re

from stdnum.iso7064 import mod_37_36

BITS = 40

_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # without I, L, O and U
_TOKEN = re.compile(rf"RL[{_ALPHABET}]{{8}}[0-9A-Z]")


def make_token(bits: int) -> str:
    """The token of a number of 40 bits. `ValueError` for any other."""
    if not 0 <= bits < 1 << BITS:
        message = f"bits: give 0 to 2^{BITS} - 1, not {bits}"
        raise ValueError(message)
    body = "RL" + "".join(_ALPHABET[bits >> shift & 31] for shift in range(BITS - 5, -1, -5))
    return body + str(mod_37_36.calc_check_digit(body))


def token_of(text: str) -> str | None:
    """`text` as a token in capitals; None where it is none, or its check character is wrong."""
    token = text.upper() if text.isascii() else ""
    return token if _TOKEN.fullmatch(token) and mod_37_36.is_valid(token) else None


def is_token(text: str) -> bool:
    """Whether `text` is a token of ours, in any case."""
    return token_of(text) is not None

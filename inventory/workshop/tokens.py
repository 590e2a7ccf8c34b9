"""Tokens of devices, `rl_PREFIX_SECRET`, secrets of calendar feeds, `rf_...`, and of invitations, `ri_...`: none serves as another.

The secret is 256 random bits, so SHA-256 alone keeps it: a slow hash is for passwords, which people choose and which can be guessed. To
try 2^256 secrets is out of reach however fast the hash, and a slow one would only tax each honest request.
"""

import base64
import hashlib
import hmac
import re
import secrets
from dataclasses import dataclass

_READABLE = "23456789abcdefghjkmnpqrstuvwxyz"  # without 0 and o, 1, i and l: a prefix is read aloud and compared by eye
_PREFIX_LENGTH = 8
_SECRET_BYTES = 32
_PREFIX = rf"_[{_READABLE}]{{{_PREFIX_LENGTH}}}"
_REST = r"_[a-z2-7]{52}"
DEVICE, FEED, INVITATION = "rl", "rf", "ri"


@dataclass(frozen=True, slots=True, repr=False)
class Token:
    """A token as its device sends it. It has no readable form: one that slips into a log or a traceback tells nothing."""

    prefix: str
    text: str

    @property
    def digest(self) -> str:
        """What is kept of it."""
        return hashlib.sha256(self.text.encode("ascii")).hexdigest()

    def is_of(self, digest: str) -> bool:
        """Whether this is the token that `digest` was kept of. Takes the same time wherever they differ."""
        return hmac.compare_digest(self.digest, digest)


def make_prefix(kind: str = DEVICE) -> str:
    """The start of a new token."""
    return f"{kind}_{''.join(secrets.choice(_READABLE) for _ in range(_PREFIX_LENGTH))}"


def is_prefix(text: str, kind: str = DEVICE) -> bool:
    """Whether a token may start with `text`."""
    return re.fullmatch(kind + _PREFIX, text, re.ASCII) is not None


def make(prefix: str) -> Token:
    """A new token that starts with `prefix`."""
    secret = base64.b32encode(secrets.token_bytes(_SECRET_BYTES)).decode("ascii").rstrip("=").lower()
    return Token(prefix, f"{prefix}_{secret}")


def read(text: str, kind: str = DEVICE) -> Token | None:
    """The token that `text` is; None for what can't be one, which then costs no query."""
    found = re.fullmatch(f"({kind}{_PREFIX}){_REST}", text, re.ASCII)
    return Token(found[1], text) if found else None

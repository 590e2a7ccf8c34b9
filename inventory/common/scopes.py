"""What a token must be allowed, by view and method. It stands alone, since DRF's own settings load who asks it."""

from collections.abc import Mapping
from typing import Any

READS = frozenset({"GET", "HEAD", "OPTIONS"})


def scope_of(view: Any, method: str) -> str:
    """What the view's `scopes` say of a method, else read for reading and manage for anything else."""
    stated: Mapping[str, str] = getattr(view, "scopes", {})
    return stated.get(method) or ("read" if method in READS else "manage")

"""Short texts that people give: names, codes, notes."""

import unicodedata

from inventory.common.problems import Problem

_REFUSED = frozenset({"Cc", "Cs", "Zl", "Zp"})  # a no-break space isn't "printable" either, and yet does no harm


class BadText(Problem):
    """A text that no row can keep."""

    title = "This text doesn't do"


def filled(what: str, text: str, most: int) -> str:
    """`text` without outer blanks. Refuses a blank one, one over `most` characters, control characters and line breaks."""
    if not (kept := optional(what, text, most)):
        raise BadText(f"the {what} is blank: give one")
    return kept


def optional(what: str, text: str, most: int) -> str:
    """`text` without outer blanks, possibly empty. Refuses one over `most` characters, control characters and line breaks."""
    kept = text.strip()
    if len(kept) > most:
        raise BadText(f"the {what} has {len(kept)} characters: {most} are the most")
    if not kept.isprintable() and any(unicodedata.category(char) in _REFUSED for char in kept):
        raise BadText(f"the {what} {kept!r} has control characters or line breaks: leave them out")
    return kept

"""Short texts that people give: names, codes, notes."""

from inventory.common.problems import Problem


class BadText(Problem):
    """A text that no row can keep."""

    title = "This text doesn't do"


def filled(what: str, text: str, most: int) -> str:
    """`text` without outer blanks. Refuses a blank one, one over `most` characters, and unprintable characters."""
    if not (kept := optional(what, text, most)):
        raise BadText(f"the {what} is blank: give one")
    return kept


def optional(what: str, text: str, most: int) -> str:
    """`text` without outer blanks, possibly empty. Refuses one over `most` characters, and unprintable characters."""
    kept = text.strip()
    if len(kept) > most:
        raise BadText(f"the {what} has {len(kept)} characters: {most} are the most")
    if not kept.isprintable():
        raise BadText(f"the {what} {kept!r} has characters that can't be printed: leave them out")
    return kept

"""Why an archive is not written, or not loaded: sentences for the person, with everything that was found at once."""

from collections.abc import Sequence

from inventory.common.problems import Problem


class NotSaved(Problem):
    """A workshop that can't be written whole."""

    status = 409
    title = "This can't be archived"


class BadArchive(Problem):
    """A file that is not loaded: nothing of it was kept. `errors` are all that was found, each with what would do."""

    status = 422
    title = "This archive can't be loaded"

    def __init__(self, *errors: str) -> None:
        """Say each of `errors`."""
        super().__init__("\n".join(errors))
        self.errors: Sequence[str] = errors


class BadCell(ValueError):  # noqa: N818 - reads as what it is
    """A text that is no value of its column. Its own text: what is wrong, and what would do."""

"""What was found wrong with a file, gathered so that everything is told at once."""

MOST_LISTED = 200


class NoSuchPath(ValueError):  # noqa: N818 - wrong usage of a command, told apart from bad input
    """A path that is no file and no folder."""


class Problems:
    """Errors, which stop a load, and warnings. Long lists are cut, and end by saying how many more there are."""

    def __init__(self, most: int = MOST_LISTED) -> None:
        """Keep the first `most` errors and as many warnings."""
        self._most = most
        self._errors: list[str] = []
        self._warnings: list[str] = []
        self.error_count = 0
        self.warning_count = 0

    def add_error(self, text: str) -> None:
        """Note what stops the load."""
        if not self.full:
            self._errors.append(text)
        self.error_count += 1

    def add_warning(self, text: str) -> None:
        """Note what someone should look at."""
        if self.warning_count < self._most:
            self._warnings.append(text)
        self.warning_count += 1

    @property
    def full(self) -> bool:
        """Whether further errors are only counted, so that costly advice is no longer worth working out."""
        return self.error_count >= self._most

    @property
    def errors(self) -> list[str]:
        """The errors to show, in the order they were found."""
        return _with_rest(self._errors, self.error_count, "errors")

    @property
    def warnings(self) -> list[str]:
        """The warnings to show, in the order they were found."""
        return _with_rest(self._warnings, self.warning_count, "warnings")


def _with_rest(kept: list[str], count: int, what: str) -> list[str]:
    rest = count - len(kept)
    return [*kept, f"and {rest} more {what}: mend these first"] if rest else list(kept)

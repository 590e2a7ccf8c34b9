"""Errors that a person can put right."""


class Problem(Exception):  # noqa: N818 - the RFC's word
    """Something a person can put right. Its text is the sentence they read, on a page, in the API and in a command alike."""

    status = 400
    title = "This can't be done"


class FieldProblem(Problem):
    """A problem of one of the things given: `field` names it, so that a form marks it there."""

    title = "This doesn't do"

    def __init__(self, field: str, text: str) -> None:
        """Say `text` of `field`."""
        super().__init__(text)
        self.field = field

"""Errors that a person can put right."""

from collections.abc import Mapping
from typing import Any


class Problem(Exception):  # noqa: N818 - the RFC's word
    """Something a person can put right. Its text is the sentence they read, on a page, in the API and in a command alike.

    `kind` names it to programs that must tell it from others: its document's type is `urn:rivetloft:problem:KIND`. `members` stand in
    that document beside the sentence.
    """

    status = 400
    title = "This can't be done"
    kind = ""
    members: Mapping[str, Any] = {}


class FieldProblem(Problem):
    """A problem of one of the things given: `field` names it, so that a form marks it there."""

    title = "This doesn't do"

    def __init__(self, field: str, text: str) -> None:
        """Say `text` of `field`."""
        super().__init__(text)
        self.field = field


class NotHere(Problem):
    """Something that was named, and that isn't in this workshop. It is a 404, whether or not another workshop has it."""

    status = 404
    title = "Not found"

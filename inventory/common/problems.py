"""Errors that a person can put right."""


class Problem(Exception):  # noqa: N818 - the RFC's word
    """Something a person can put right. Its text is the sentence they read, on a page, in the API and in a command alike."""

    status = 400
    title = "This can't be done"

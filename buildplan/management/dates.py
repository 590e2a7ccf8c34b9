"""Dates on the command line, and whose clock tells today."""

from argparse import ArgumentTypeError
from contextlib import AbstractContextManager, nullcontext
from datetime import date

from django.utils import timezone

from buildplan.loading.values import BadValue, plain_date
from inventory.common.problems import Problem
from inventory.workshop.queries import workshop_of
from inventory.workshop.reading import by_clock_of


def day(text: str) -> date:
    """A day as files write it; wrong usage (exit 2) where it is none."""
    try:
        return plain_date(text, today=timezone.localdate())
    except BadValue as error:
        raise ArgumentTypeError(str(error)) from error


def by_clock_of_named(code: str | None) -> AbstractContextManager[object]:
    """Within it, today is today in the workshop of a code, or in the only one; the site's today where loading is still to make it."""
    try:
        workshop = workshop_of(code)
    except Problem:
        return nullcontext()
    return by_clock_of(workshop)

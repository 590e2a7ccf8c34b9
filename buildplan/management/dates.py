"""Dates on the command line."""

from argparse import ArgumentTypeError
from datetime import date

from django.utils import timezone

from buildplan.loading.values import BadValue, plain_date


def day(text: str) -> date:
    """A day as files write it; wrong usage (exit 2) where it is none."""
    try:
        return plain_date(text, today=timezone.localdate())
    except BadValue as error:
        raise ArgumentTypeError(str(error)) from error

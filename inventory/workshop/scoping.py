"""The manager of every table that belongs to a workshop."""

from typing import TYPE_CHECKING, TypeVar

from django.db import models
from django_scopes import ScopedManager

Row = TypeVar("Row", bound=models.Model)

if TYPE_CHECKING:
    _Scoped = models.Manager
else:
    _Scoped = type(ScopedManager(workshop="workshop"))  # made by a function at run time, so a type checker can't see it


class WorkshopManager(_Scoped[Row]):
    """Reads rows of the workshop in scope. Outside any scope every read raises, so that a forgotten one can't leak."""

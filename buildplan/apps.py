"""The app of work: what is built, what it takes, what is missing."""

from django.apps import AppConfig


class BuildplanConfig(AppConfig):
    """May use inventory; inventory never uses it."""

    name = "buildplan"

"""What the commands share."""

from django.core.management.base import BaseCommand


class SiteCommand(BaseCommand):
    """A command of ours. It leaves Django's checks to the server's start and to CI: they load every page, two thirds of its time."""

    requires_system_checks = ()

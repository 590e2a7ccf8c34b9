"""`manage.py set_up`: the address at which the first workshop of a site is made."""

import os
from typing import Any
from urllib.parse import urlencode

from django.core.management.base import CommandError
from django.urls import reverse

from buildplan.loading import set_up
from buildplan.management.base import SiteCommand
from buildplan.management.links import ADDRESS


class Command(SiteCommand):
    help = "Print an address at which the first workshop and its owner are made: good for an hour, and once."

    def handle(self, **options: Any) -> None:  # noqa: ARG002 - Django's signature
        if not set_up.is_open():
            raise CommandError("this site has people or workshops already: `manage.py member` makes another owner")
        code, base = set_up.code(), os.environ.get("RIVETLOFT_ADDRESS", ADDRESS).rstrip("/")
        self.stdout.write(f"open within an hour: {base}{reverse('set-up')}?{urlencode({'code': code})}")
        self.stdout.write(f"or give there the code {code}")

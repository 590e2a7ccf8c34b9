#!/usr/bin/env python
"""Rivetloft's command line: `manage.py help` lists the commands."""

import os
import sys


def main() -> None:
    """Run one command with the site's settings."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "buildplan.site.settings")
    from django.core.management import execute_from_command_line  # noqa: PLC0415 - Django must read the variable first

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()

"""What a test may need of the machine: where it is absent a test skips with its reason, unless RIVETLOFT_REQUIRE names it.

RIVETLOFT_REQUIRE holds words with blanks between: `chromium`, and `sqlite` or `postgres` for the database that a run is meant for.
A run that lacks what it requires stops before its first test, so that a check can't pass by skipping.
"""

import os
import shutil

import pytest
from django.db import connection

NO_CHROMIUM = "needs Debian's chromium on PATH"
NO_POSTGRES = "needs PostgreSQL: set DATABASE_URL"
VENDORS = {"sqlite": "sqlite", "postgres": "postgresql"}


def chromium():
    """Where the browser is, or None."""
    return shutil.which("chromium")


def refuse_what_is_absent():
    """Stop the run where something required isn't there."""
    required = set(os.environ.get("RIVETLOFT_REQUIRE", "").split())
    if unknown := required - {"chromium", *VENDORS}:
        raise pytest.UsageError(f"RIVETLOFT_REQUIRE: {', '.join(sorted(unknown))}: write chromium, sqlite or postgres")
    if "chromium" in required and chromium() is None:
        raise pytest.UsageError(f"RIVETLOFT_REQUIRE: chromium: {NO_CHROMIUM}")
    for word in required & VENDORS.keys():
        if connection.vendor != VENDORS[word]:
            raise pytest.UsageError(f"RIVETLOFT_REQUIRE: {word}: this run is on {connection.vendor}")


def skip_what_cannot_run(items):
    """Skip tests marked `postgres` elsewhere; the reason stands in the run's summary."""
    if connection.vendor == "postgresql":
        return
    for item in items:
        if item.get_closest_marker("postgres"):
            item.add_marker(pytest.mark.skip(reason=NO_POSTGRES))

"""What a test may need of the machine: where it is absent a test skips with its reason, unless RIVETLOFT_REQUIRE names it.

RIVETLOFT_REQUIRE holds words with blanks between: `chromium`, `gettext`, and `sqlite` or `postgres` for the database that a run is for.
A run that lacks what it requires stops before its first test, so that a check can't pass by skipping.

RIVETLOFT_TESTS=database leaves out what touches no database of the run, and what is marked `alike`: the second of two runs, on the other
database, can say nothing new of those.
"""

import os
import shutil

import pytest
from django.db import connection

NO_CHROMIUM = "needs Debian's chromium on PATH"
NO_GETTEXT = "needs gettext's xgettext and msgfmt on PATH"
NO_POSTGRES = "needs PostgreSQL: set DATABASE_URL"
VENDORS = {"sqlite": "sqlite", "postgres": "postgresql"}
TOUCHES = {"db", "transactional_db", "live_server", "server_database"}  # fixtures that stand for a database of the run


def chromium():
    """Where the browser is, or None."""
    return shutil.which("chromium")


def gettext():
    """Whether texts to translate can be collected and compiled."""
    return all(map(shutil.which, ("xgettext", "msgfmt")))


def refuse_what_is_absent():
    """Stop the run where something required isn't there."""
    required = set(os.environ.get("RIVETLOFT_REQUIRE", "").split())
    if unknown := required - {"chromium", "gettext", *VENDORS}:
        raise pytest.UsageError(f"RIVETLOFT_REQUIRE: {', '.join(sorted(unknown))}: write chromium, gettext, sqlite or postgres")
    if "chromium" in required and chromium() is None:
        raise pytest.UsageError(f"RIVETLOFT_REQUIRE: chromium: {NO_CHROMIUM}")
    if "gettext" in required and not gettext():
        raise pytest.UsageError(f"RIVETLOFT_REQUIRE: gettext: {NO_GETTEXT}")
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


def databases_alone():
    """Whether this run is for what another database might answer otherwise; it refuses a word that it doesn't know."""
    wanted = os.environ.get("RIVETLOFT_TESTS", "")
    if wanted not in {"", "database"}:
        raise pytest.UsageError(f"RIVETLOFT_TESTS: {wanted}: write database, or leave it unset for all tests")
    return wanted == "database"


def leave_out_what_is_alike_on_each_database(config, items):
    """In a run that asks for the others alone; pytest counts them as deselected."""
    if databases_alone():
        left_out = [item for item in items if not asks_the_database(item)]
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if asks_the_database(item)]


def asks_the_database(item):
    """Whether a test asks the run's own database, or one beside it on the same server, and another might answer otherwise."""
    if item.get_closest_marker("alike"):
        return False
    return bool(TOUCHES & set(item.fixturenames)) or item.get_closest_marker("django_db") is not None

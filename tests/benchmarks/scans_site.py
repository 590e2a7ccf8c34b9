"""The site's settings, with one address more, for tests.benchmarks.scans."""

from buildplan.site.settings import *  # noqa: F403 - all of them

ROOT_URLCONF = "tests.benchmarks.scans_urls"

"""Loads by page under pressure: pressed by many at once, cancelled as they begin, their worker killed with -9 in the middle."""

import os
import signal
import subprocess
import sys
from collections import Counter
from contextlib import suppress
from datetime import UTC, date, datetime
from pathlib import Path
from time import monotonic
from urllib.parse import quote
from uuid import uuid4

import pytest
from django.db import connection
from django_tasks_db.models import DBTaskResult

from buildplan.loading import job_files, jobs, worker
from buildplan.loading.choices import Choices
from buildplan.loading.models import JobState
from buildplan.loading.sent_files import SentFile
from buildplan.models import LoadedFile, LoadJob
from inventory.models import Item
from tests import loads

pytestmark = pytest.mark.django_db(transaction=True)

ROOT = Path(__file__).resolve().parents[2]
NOW = datetime(2027, 3, 1, 12, tzinfo=UTC)
TODAY = date(2027, 3, 1)
MANY = 4000  # rows: to write them takes longer than to see that they are read


def begun(by, many, key=None):
    file = SentFile("c.csv", "\n".join([loads.CATALOGUE, *(f"FLT.{at},Part,part,ea" for at in range(many))]).encode())
    return jobs.begin(kind="catalogue", files=[file], choices=Choices(), key=key or uuid4(), by=by, now=NOW)


def test_eight_presses_of_one_form_make_one_job_and_ask_for_it_once(at_once, storekeeper):
    key = uuid4()
    found = at_once(lambda _: begun(storekeeper, jobs.AT_ONCE + 1, key))
    assert {job.pk for job in found} == {LoadJob.objects.get().pk}

    at_once(lambda _: jobs.queue(job=LoadJob.objects.get(), today=TODAY, by=storekeeper))
    assert DBTaskResult.objects.count() == 1


def test_eight_who_run_one_job_load_it_once(at_once, storekeeper):
    job = jobs.queue(job=begun(storekeeper, 5), today=TODAY, by=storekeeper)
    assert at_once(lambda _: jobs.run(job_id=job.pk, clock=lambda: NOW)) == [None] * 8
    assert (LoadedFile.objects.count(), Item.objects.count()) == (1, 5)


def test_cancelled_as_it_begins_it_is_loaded_whole_or_not_at_all(at_once, storekeeper):
    job = jobs.queue(job=begun(storekeeper, 5), today=TODAY, by=storekeeper)

    def act(number):
        if number % 2:
            return jobs.cancel(job=LoadJob.objects.get(pk=job.pk), by=storekeeper, now=NOW)
        return jobs.run(job_id=job.pk, clock=lambda: NOW)

    assert Counter(map(type, at_once(act))) == {type(None): 8}
    job.refresh_from_db()
    assert (job.state, Item.objects.count()) in ((JobState.DONE, 5), (JobState.CANCELLED, 0))


@pytest.fixture
def worker_process(settings):
    """A real worker on the database of the tests, in a process group of its own."""
    found = connection.settings_dict
    if connection.vendor == "sqlite":
        address = f"sqlite:///{found['NAME']}"
    else:
        address = (
            f"postgres://{quote(found['USER'])}:{quote(found['PASSWORD'])}@{quote(found['HOST'], safe='')}:{found['PORT']}/{found['NAME']}"
        )
    environment = {**os.environ, "DATABASE_URL": address, "RIVETLOFT_UPLOADS": str(settings.MEDIA_ROOT)}
    environment |= {"RIVETLOFT_SECRET_KEY": "of the tests"}
    command = [sys.executable, "manage.py", "worker", "--verbosity", "0"]
    process = subprocess.Popen(command, cwd=ROOT, env=environment, start_new_session=True)
    yield process
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait(timeout=10)


def until(true, process):
    """Wait until something is so, while the worker lives."""
    end = monotonic() + 60
    while not true():
        assert monotonic() < end
        with suppress(subprocess.TimeoutExpired):
            process.wait(timeout=0.01)
            pytest.fail("the worker ended by itself")


def test_worker_killed_in_the_middle_leaves_nothing_and_the_load_is_begun_again(worker_process, storekeeper):
    job = jobs.queue(job=begun(storekeeper, MANY), today=TODAY, by=storekeeper)
    until(lambda: job_files.rows_read(job) == job.rows, worker_process)  # all is read, and is being written
    assert worker.is_present()

    os.killpg(worker_process.pid, signal.SIGKILL)
    worker_process.wait(timeout=10)

    job.refresh_from_db()
    assert (job.state, jobs.is_interrupted(job), worker.is_present()) == (JobState.RUNNING, True, False)
    assert (Item.objects.count(), LoadedFile.objects.count()) == (0, 0)

    jobs.queue(job=job, today=TODAY, by=storekeeper)
    jobs.run(job_id=job.pk, clock=lambda: NOW)
    job.refresh_from_db()
    assert (job.state, Item.objects.count()) == (JobState.DONE, MANY)

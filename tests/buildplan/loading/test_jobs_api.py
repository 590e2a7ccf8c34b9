"""Loads by page, as programs read them."""

from http import HTTPStatus

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from buildplan.loading import job_files, jobs
from buildplan.loading.models import JobState
from buildplan.models import LoadJob
from inventory.models import Item
from tests import factories
from tests.buildplan.loading.test_jobs import NOW, TODAY, begin, queued, run


@pytest.fixture
def get(as_member, storekeeper):
    """What the API answers, to the storekeeper unless said."""
    return lambda where, by=storekeeper: as_member(by).get(f"/api/v1/loads{where}")


def test_load_that_is_done_says_what_it_wrote(get, storekeeper):
    job = run(queued(storekeeper))

    found = get(f"/{job.pk}").json()
    assert (found["kind"], found["state"], found["files"], found["rows"]) == ("catalogue", "done", ["c.csv"], 3)
    assert (found["loaded"]["items"], found["errors"], found["dry_run"], found["by"]) == (3, [], False, storekeeper.name)
    assert (found["interrupted"], found["worker"], found["rows_read"]) == (False, False, None)


def test_load_with_faults_says_each_and_a_look_says_what_would_be_loaded(get, storekeeper):
    failed = get(f"/{run(queued(storekeeper, bad=2)).pk}").json()
    assert (failed["state"], len(failed["errors"]), failed["loaded"], failed["made"]) == ("failed", 2, {}, [])

    looked = run(jobs.queue(job=begin(storekeeper), today=TODAY, by=storekeeper, dry_run=True))
    found = get(f"/{looked.pk}").json()
    assert (found["state"], found["dry_run"], found["loaded"]["items"], Item.objects.count()) == ("chosen", True, 3, 0)


def test_load_that_runs_says_how_far_it_is_and_one_whose_process_is_gone_that_it_is(get, storekeeper):
    job = queued(storekeeper)
    assert get(f"/{job.pk}").json()["state"] == "waiting"
    LoadJob.objects.filter(pk=job.pk).update(state=JobState.RUNNING, started_at=NOW)
    with job_files.at_work(job):
        job_files.say_rows(job, 2)
        found = get(f"/{job.pk}").json()
        assert (found["state"], found["rows_read"], found["interrupted"]) == ("running", 2, False)
    assert get(f"/{job.pk}").json()["interrupted"] is True


def test_loads_are_for_who_keeps_the_stock(get, storekeeper, builder):
    job = begin(storekeeper)

    assert [get(where, builder).status_code for where in ("", f"/{job.pk}")] == [HTTPStatus.FORBIDDEN] * 2


def test_list_is_newest_first_filtered_and_takes_as_many_queries_for_many_as_for_one(get, storekeeper):
    def counted(where):
        with CaptureQueriesContext(connection) as asked:
            found = get(where).json()["results"]
        return len(asked), [row["id"] for row in found]

    first = begin(storekeeper)
    get("")  # signs in
    few, _ = counted("")
    others = [factories.LoadJobFactory(by=factories.MemberFactory(workshop=storekeeper.workshop), kind="plan").pk for _ in range(4)]
    LoadJob.objects.filter(pk=others[0]).update(state=JobState.DONE)
    many, rows = counted("")
    assert (many, rows) == (few, [*reversed(others), first.pk])
    assert counted("?kind=catalogue")[1] == [first.pk]
    assert counted("?kind=plan&state=done")[1] == [others[0]]

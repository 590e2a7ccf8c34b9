"""Loads as jobs: their states, who may change them when, and that all of a load is there or nothing."""

from datetime import UTC, date, datetime, timedelta
from http import HTTPStatus
from uuid import uuid4

import pytest
from django.urls import reverse
from django_tasks_db.models import DBTaskResult

from buildplan.loading import job_files, jobs, worker
from buildplan.loading.choices import Choices
from buildplan.loading.models import JobState
from buildplan.loading.sent_files import SentFile
from buildplan.models import LoadedFile, LoadJob
from inventory.models import Item
from inventory.workshop.policy import NotAllowed
from tests import loads

pytestmark = pytest.mark.django_db

NOW = datetime(2027, 3, 1, 12, tzinfo=UTC)
TODAY = date(2027, 3, 1)


@pytest.fixture(autouse=True)
def _few_rows_are_many(monkeypatch):
    """What is long for a page need not be long for a test."""
    monkeypatch.setattr(jobs, "AT_ONCE", 20)


def rows(many, bad=0):
    """A catalogue of many items, the last `bad` of which are wrong."""
    kinds = ["part"] * (many - bad) + ["nothing"] * bad
    return "\n".join([loads.CATALOGUE, *(f"FLT.{at},Part,{kind},ea" for at, kind in enumerate(kinds))]).encode()


def begin(by, many=3, *, bad=0, now=NOW, key=None):
    file = SentFile("c.csv", rows(many, bad))
    return jobs.begin(kind="catalogue", files=[file], choices=Choices(), key=key or uuid4(), by=by, now=now)


def queued(by, many=3, **how):
    return jobs.queue(job=begin(by, many, **how), today=TODAY, by=by)


def run(job):
    jobs.run(job_id=job.pk, clock=lambda: NOW + timedelta(seconds=2))
    job.refresh_from_db()
    return job


def test_small_load_is_not_handed_to_a_worker_and_a_long_one_is_once(storekeeper):
    queued(storekeeper, jobs.AT_ONCE)
    assert not DBTaskResult.objects.exists()

    long = queued(storekeeper, jobs.AT_ONCE + 1)
    assert jobs.queue(job=long, today=TODAY, by=storekeeper).state == JobState.WAITING
    assert DBTaskResult.objects.get().args_kwargs["args"] == [long.pk]


def test_run_loads_and_says_when_and_what(storekeeper):
    job = run(queued(storekeeper))
    assert (job.state, job.result["loaded"]["items"], job.ended_at) == (JobState.DONE, 3, NOW + timedelta(seconds=2))
    assert not job_files.are_there(job)


def test_task_of_the_queue_runs_its_job(storekeeper):
    job = queued(storekeeper, jobs.AT_ONCE + 1)
    jobs.load_file.call(job.pk)
    job.refresh_from_db()
    assert (job.state, Item.objects.count()) == (JobState.DONE, jobs.AT_ONCE + 1)


def test_run_again_does_nothing(storekeeper):
    job = run(queued(storekeeper))
    jobs.run(job_id=job.pk, clock=pytest.fail)
    assert LoadedFile.objects.count() == 1


def test_faults_leave_nothing_and_it_can_be_loaded_again(storekeeper):
    job = run(queued(storekeeper, 5, bad=2))
    assert (job.state, len(job.result["errors"]), Item.objects.count()) == (JobState.FAILED, 2, 0)
    assert job_files.are_there(job)
    assert jobs.queue(job=job, today=TODAY, by=storekeeper).state == JobState.WAITING


def test_look_of_a_long_file_writes_nothing_but_what_it_found(storekeeper):
    job = run(jobs.queue(job=begin(storekeeper), today=TODAY, by=storekeeper, dry_run=True))
    assert (job.state, job.result["loaded"]["items"], Item.objects.count()) == (JobState.CHOSEN, 3, 0)


def test_cancelled_while_it_waits_it_is_never_loaded(storekeeper):
    job = queued(storekeeper)
    jobs.cancel(job=job, by=storekeeper, now=NOW)
    assert (run(job).state, Item.objects.count()) == (JobState.CANCELLED, 0)


@pytest.mark.parametrize("many", [3, 1500])
def test_cancelled_while_it_runs_nothing_of_it_stays(storekeeper, many):
    """Seen at the thousandth row, and where there are fewer before the end."""
    job = queued(storekeeper, many)
    stale = LoadJob(pk=job.pk, workshop=job.workshop, state=JobState.RUNNING)  # as a page that was shown while it ran
    jobs.cancel(job=stale, by=storekeeper, now=NOW)

    assert (run(job).state, Item.objects.count()) == (JobState.CANCELLED, 0)

    assert run(jobs.queue(job=job, today=TODAY, by=storekeeper)).state == JobState.DONE
    assert Item.objects.count() == many


def test_fault_of_the_program_is_said_and_nothing_stays(storekeeper, monkeypatch):
    job = queued(storekeeper)
    job.files[0]["stored"] = "gone.csv"
    job.save(update_fields=["files"])

    run(job)

    assert (job.state, Item.objects.count()) == (JobState.FAILED, 0)
    assert job.result["errors"]


def test_running_job_is_interrupted_once_nobody_holds_its_lock(storekeeper):
    job = queued(storekeeper)
    LoadJob.objects.filter(pk=job.pk).update(state=JobState.RUNNING)
    job.refresh_from_db()
    with job_files.at_work(job):
        assert not jobs.is_interrupted(job)
        assert jobs.queue(job=job, today=TODAY, by=storekeeper).state == JobState.RUNNING
        with pytest.raises(jobs.Busy):
            jobs.choose(job=job, choices=Choices(), by=storekeeper)
    assert jobs.is_interrupted(job)
    assert run(jobs.queue(job=job, today=TODAY, by=storekeeper)).state == JobState.DONE


def test_job_that_ended_meanwhile_was_not_interrupted(storekeeper):
    job = run(queued(storekeeper))
    assert not jobs.is_interrupted(LoadJob(pk=job.pk, workshop=job.workshop, state=JobState.RUNNING))


def test_done_job_is_not_changed(storekeeper):
    job = run(queued(storekeeper))
    with pytest.raises(jobs.Busy, match="choose files anew"):
        jobs.choose(job=job, choices=Choices(), by=storekeeper)


def test_files_that_nobody_loads_are_kept_for_a_week_and_twenty_at_most(storekeeper):
    old = begin(storekeeper, now=NOW - timedelta(days=8))
    first = begin(storekeeper, now=NOW - timedelta(hours=1))
    assert (job_files.are_there(old), job_files.are_there(first)) == (False, True)
    for _ in range(jobs.MOST_KEPT):
        last = begin(storekeeper)
    begin(storekeeper)
    assert (job_files.are_there(first), job_files.are_there(last)) == (False, True)


def test_builder_loads_nothing(builder, storekeeper):
    with pytest.raises(NotAllowed):
        begin(builder)
    job = begin(storekeeper)
    for act in (jobs.queue, jobs.look):
        with pytest.raises(NotAllowed):
            act(job=job, today=TODAY, by=builder)
    with pytest.raises(NotAllowed):
        jobs.cancel(job=job, by=builder, now=NOW)


def test_worker_is_there_while_it_works():
    assert not worker.is_present()
    with worker.present():
        assert worker.is_present()
        assert worker.is_present()  # asking doesn't take it
    assert not worker.is_present()


def test_page_of_a_waiting_job_says_that_no_worker_runs_and_loads_it_now(as_member, storekeeper):
    client, job = as_member(storekeeper), queued(storekeeper, jobs.AT_ONCE + 1)
    address = reverse("load-job", args=[job.pk])
    assert "No worker is running" in client.get(address).content.decode()
    with worker.present():
        assert "No worker is running" not in client.get(address).content.decode()

    assert client.post(address, {"do": "now"}).status_code == HTTPStatus.FOUND
    assert "c.csv is loaded" in client.get(address).content.decode()
    assert client.get(address, headers={"HX-Request": "true"}).headers["HX-Refresh"] == "true"


def test_page_of_a_running_job_says_how_far_it_is_and_of_an_interrupted_one_that_nothing_stays(as_member, storekeeper, queries_of):
    client, job = as_member(storekeeper), queued(storekeeper, 2500)
    LoadJob.objects.filter(pk=job.pk).update(state=JobState.RUNNING)
    address = reverse("load-job", args=[job.pk])
    with job_files.at_work(job):
        job_files.say_rows(job, 1000)
        text = client.get(address).content.decode()
        assert "1000 of 2500 rows are read." in text
        assert '<noscript><meta http-equiv="refresh"' in text
        assert queries_of(storekeeper, address) <= 4
        client.post(address, {"do": "cancel"})
        assert job_files.shall_stop(job)
    assert "The load was interrupted" in client.get(address).content.decode()

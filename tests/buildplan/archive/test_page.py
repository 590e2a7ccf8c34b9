"""The page of archives: who gets there, one press one archive, long ones by a worker, and files that go again."""

import io
import json
import zipfile
from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from uuid import uuid4

import pytest
from django.urls import reverse
from django_tasks_db.models import DBTaskResult

from buildplan.archive import services
from buildplan.archive.models import SavedArchive, SavedState
from buildplan.loading import locks
from inventory.models import Photo
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.pages import Page, invalid

pytestmark = pytest.mark.django_db

NOW = datetime(2027, 3, 1, 12, tzinfo=UTC)
PAGE = "archives"


def asked(by, now=NOW, key=None):
    return services.ask(key=key or uuid4(), by=by, now=now)


def run(row):
    services.run(pk=row.pk, clock=lambda: NOW + timedelta(seconds=2))
    row.refresh_from_db()
    return row


def test_owner_makes_one_archive_by_two_presses_and_downloads_it(as_member, owner, lot):
    client, key = as_member(owner), str(uuid4())
    assert "None was made here yet" in client.get(reverse(PAGE)).content.decode()
    for _ in range(2):
        assert client.post(reverse(PAGE), {"key": key}).status_code == HTTPStatus.FOUND

    row = SavedArchive.objects.get()
    page = client.get(reverse(PAGE)).content.decode()
    answer = client.get(reverse("archive-file", args=[row.pk]))
    data = b"".join(answer.streaming_content)

    assert row.state == SavedState.DONE
    assert reverse("archive-file", args=[row.pk]) in page
    assert "The archive is ready" in page
    assert answer["Content-Disposition"] == f'attachment; filename="MARSH-{row.made_at:%Y-%m-%d}.zip"'
    assert "no-store" in answer["Cache-Control"]
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        assert json.loads(packed.read("manifest.json"))["workshop"]["code"] == "MARSH"
        assert "OUTSIDE" not in packed.read("tables/inventory/Item.csv").decode()


def test_page_is_sound_html_with_archives_in_every_state(as_member, owner):
    for state in SavedState.values:
        SavedArchive.objects.create(workshop=owner.workshop, key=uuid4(), by=owner, state=state, why="<b>full</b>", made_at=NOW)
    going = SavedArchive.objects.create(workshop=owner.workshop, key=uuid4(), by=owner, state=SavedState.RUNNING, rows=100, made_at=NOW)
    with locks.held(services._lock(going)):
        services._say(going, 40)
        page = as_member(owner).get(reverse(PAGE)).content.decode()

    assert Page(page).faults == []
    assert invalid(page) == []
    for says in ("40 of 100 rows are written", "interrupted", "waits for its turn", "&lt;b&gt;full", "no longer kept"):
        assert says in page
    assert 'hx-trigger="every 2s"' in page


def test_bad_key_shows_the_form_again(as_member, owner):
    answer = as_member(owner).post(reverse(PAGE), {"key": "x"})

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert not SavedArchive.objects.exists()


def test_only_owners_ask_remove_and_download(as_member, owner, storekeeper):
    row = run(asked(owner))
    with pytest.raises(NotAllowed):
        asked(storekeeper)
    with pytest.raises(NotAllowed):
        services.remove(archive=row, by=storekeeper)

    client = as_member(storekeeper)

    assert client.get(reverse(PAGE)).status_code == HTTPStatus.FORBIDDEN
    assert client.get(reverse("archive-file", args=[row.pk])).status_code == HTTPStatus.FORBIDDEN
    assert reverse(PAGE) not in client.get(reverse("settings")).content.decode()


def test_long_one_waits_for_a_worker_or_is_written_while_the_page_waits(as_member, owner, monkeypatch):
    monkeypatch.setattr(services, "SMALL_ROWS", 0)
    client = as_member(owner)
    client.post(reverse(PAGE), {"key": str(uuid4())})
    row = SavedArchive.objects.get()
    assert (row.state, DBTaskResult.objects.get().args_kwargs["args"]) == (SavedState.WAITING, [row.pk])
    page = client.get(reverse(PAGE)).content.decode()
    assert "No worker is running" in page
    assert "Write it now" in page

    client.post(reverse("archive-now", args=[row.pk]))

    row.refresh_from_db()
    assert row.state == SavedState.DONE
    assert run(row).ended_at == row.ended_at, "the worker that comes later has nothing to do"


def test_one_whose_process_died_is_said_to_be_interrupted_and_can_be_written_again(as_member, owner):
    row = asked(owner)
    SavedArchive.objects.update(state=SavedState.RUNNING)
    services.path_of(row).parent.mkdir(parents=True)
    services.path_of(row).write_bytes(b"half of it")
    row.refresh_from_db()
    with locks.held(services._lock(row)):
        assert not services.is_interrupted(row)
    assert services.is_interrupted(row)
    assert "interrupted" in as_member(owner).get(reverse(PAGE)).content.decode()

    assert run(row).state == SavedState.DONE
    with zipfile.ZipFile(services.path_of(row)) as packed:
        assert packed.testzip() is None


def test_one_that_can_t_be_written_says_why(as_member, owner):
    Photo.objects.create(workshop=owner.workshop, ref="crate:1", file="gone.jpg", digest="0" * 64, width=1, height=1, by=owner)
    client = as_member(owner)
    client.post(reverse(PAGE), {"key": str(uuid4())})

    row = SavedArchive.objects.get()
    page = client.get(reverse(PAGE)).content.decode()

    assert row.state == SavedState.FAILED
    assert "gone.jpg" in page
    assert client.get(reverse("archive-file", args=[row.pk])).status_code == HTTPStatus.CONFLICT


def test_old_files_go_and_the_newest_few_stay(owner, django_capture_on_commit_callbacks):
    rows = [run(asked(owner, NOW + timedelta(hours=at))) for at in range(services.MOST_KEPT)]
    with django_capture_on_commit_callbacks(execute=True):
        newest = run(asked(owner, NOW + timedelta(hours=9)))
    assert [services.is_kept(row) for row in [*rows, newest]] == [False, *[True] * services.MOST_KEPT]

    with django_capture_on_commit_callbacks(execute=True):
        last = run(asked(owner, NOW + services.KEPT + timedelta(days=1)))

    assert [services.is_kept(row) for row in [*rows, newest, last]] == [False] * 4 + [True]


def test_removed_one_is_gone_with_its_file(as_member, owner, django_capture_on_commit_callbacks):
    row = run(asked(owner))
    with django_capture_on_commit_callbacks(execute=True):
        answer = as_member(owner).post(reverse("remove-archive", args=[row.pk]))

    assert answer.status_code == HTTPStatus.FOUND
    assert not services.path_of(row).exists()
    assert not SavedArchive.objects.exists()
    services.save_archive.func(row.pk)  # a worker that still has it to do


def test_page_takes_the_same_queries_for_one_and_for_many(queries_of, owner, lot):
    run(asked(owner))
    one = queries_of(owner, reverse(PAGE))
    for at in range(2):
        run(asked(owner, NOW + timedelta(minutes=at + 1)))
        factories.LotFactory(bench=lot.bench, item=lot.item)

    assert queries_of(owner, reverse(PAGE)) == one

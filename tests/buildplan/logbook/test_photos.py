"""Photos that stay: of what was signed or struck out, and of what a section was closed up with."""

from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from buildplan.closeup.services import close, reopen
from buildplan.closeup.starting import CODES
from buildplan.logbook import services
from inventory.models import Photo
from inventory.photos.keeping import marked, why_staying
from inventory.photos.queries import of as photos_of
from inventory.photos.services import PhotoStays, read_picture, remove
from tests.pictures import picture

NOON = datetime(2027, 2, 20, 12, tzinfo=UTC)
LATER = NOON + timedelta(hours=1)


@pytest.fixture
def shoot(builder):
    """Keep a photo of an entry or a step, each of another colour."""
    colours = iter(("red", "blue", "green", "black", "white", "yellow"))

    def shoot(of, at=NOON):
        shot = read_picture(picture(colour=next(colours)))
        return services.add_photo(of=of, picture=shot, caption="", at=at, by=builder)

    return shoot


@pytest.fixture
def closed(step, builder):
    """Close the step's section up at noon."""
    close(section=step.section, reasons=dict.fromkeys(CODES, "as built"), by=builder, now=NOON, key=uuid4())
    return step.section


def sign(of, inspector, now=NOON):
    return services.sign(of=of, key=uuid4(), by=inspector, now=now)


def test_signed_entry_keeps_its_photos_until_the_signature_is_withdrawn(write, shoot, inspector, builder):
    entry = write()
    photo = shoot(entry)
    signature = sign(entry, inspector)

    with pytest.raises(PhotoStays, match=r"Amos Reed has seen and signed this entry on 2027-02-20.*withdraw the signature") as refused:
        remove(photo=photo, by=builder)
    assert refused.value.status == HTTPStatus.CONFLICT

    services.withdraw(signature=signature, why="the wrong entry", by=inspector, now=NOON)
    remove(photo=photo, by=builder)
    assert not Photo.objects.exists()


def test_struck_entry_keeps_its_photos(write, shoot, builder):
    entry = write()
    photo = shoot(entry)
    services.strike_entry(entry=entry, why="the other side", by=builder, now=NOON)

    with pytest.raises(PhotoStays, match="this entry was struck out: write a new one"):
        remove(photo=photo, by=builder)


def test_signed_step_keeps_what_was_seen_and_lets_what_came_later_go(step, shoot, inspector, builder):
    seen = shoot(step)
    sign(step, inspector)
    added = shoot(step, LATER)

    remove(photo=added, by=builder)
    with pytest.raises(PhotoStays, match="signed this step on 2027-02-20, and this photo with it, so it stays: add a further photo"):
        remove(photo=seen, by=builder)
    assert list(Photo.objects.all()) == [seen]


def test_closed_section_keeps_the_photos_of_its_steps_and_entries_that_were_there(step, write, shoot, builder, closed):
    entry = write()
    there = [shoot(step), shoot(entry, NOON - timedelta(days=1))]
    added = [shoot(step, LATER), shoot(entry, LATER)]

    for photo in there:
        with pytest.raises(PhotoStays, match=f"{closed.name} was closed up on 2027-02-20, and this photo was there by then"):
            remove(photo=photo, by=builder)
    for photo in added:
        remove(photo=photo, by=builder)
    reopen(section=closed, why="the vent line chafes", by=builder, now=LATER)
    for photo in there:
        remove(photo=photo, by=builder)
    assert not Photo.objects.exists()


def test_general_entry_of_a_project_with_a_closed_section_lets_its_photo_go(write, shoot, builder, closed):
    photo = shoot(write(of=None))

    remove(photo=photo, by=builder)
    assert not Photo.objects.exists()


def test_pages_say_why_a_photo_stays_instead_of_offering_to_remove_it(as_member, builder, step, write, shoot, inspector):
    seen, entry = shoot(step), write()
    of_entry = shoot(entry)
    sign(step, inspector)
    sign(entry, inspector)
    added, client = shoot(step, LATER), as_member(builder)

    page = client.get(reverse("step-photos", args=[step.project.code, step.code])).content.decode()
    assert "Amos Reed has seen and signed this step on 2027-02-20" in page
    assert reverse("remove-photo", args=[added.pk]) in page
    assert reverse("remove-photo", args=[seen.pk]) not in page
    assert "its photos stay as they are" in client.get(reverse("log-photos", args=[entry.pk])).content.decode()
    refused = client.post(reverse("remove-photo", args=[of_entry.pk]))
    assert refused.status_code == HTTPStatus.CONFLICT
    assert "it changes no more. Write a further entry" in refused.content.decode()
    assert Photo.objects.count() == 3


def test_why_photos_stay_is_asked_in_as_many_queries_for_many_as_for_one(step, write, shoot, inspector, closed):
    def asked(things):
        rows = [row for rows in photos_of(things).values() for row in rows]
        with CaptureQueriesContext(connection) as queries:
            why = why_staying(rows)
        assert len(why) == len(rows)
        return len(queries)

    entries = [write(f"Riveted {number}.") for number in range(2)]
    refs = [entry.ref for entry in entries]
    for of in (*entries, step):
        shoot(of)
    sign(entries[0], inspector)

    assert asked([f"step:{step.pk}"]) == 3
    assert asked(refs[:1]) == 4
    assert asked(refs) == 4
    assert [row.stays[:9] for row in marked(photos_of(refs)[refs[0]])] == ["Amos Reed"]

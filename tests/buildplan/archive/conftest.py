"""A workshop with one of everything, and what it takes to have it nowhere again."""

from datetime import UTC, datetime, time
from decimal import Decimal
from fractions import Fraction
from types import SimpleNamespace
from uuid import UUID, uuid4

import pytest
from django.db import IntegrityError, models, transaction
from django_scopes import scope, scopes_disabled

from buildplan.archive.saving import save
from buildplan.archive.tables import all_tables
from buildplan.closeup.models import Closing
from buildplan.logbook.models import LogEntry, Signature
from buildplan.models import DayCheck, DayPerson, PickTick, SealDay, Step, StepAfter, Task
from inventory.common.fields import FractionField
from inventory.models import Claim, Lot, Member, PackingLine, Photo, Place, Scan, Tally, User
from inventory.photos import services as photos
from inventory.stock import services as stock
from inventory.workshop.services import issue_device, set_password
from tests import factories, pictures
from tests.test_isolation import furnish

NOW = datetime(2027, 3, 1, 18, 30, 5, 123456, tzinfo=UTC)
CODE = "MARSH"


@pytest.fixture
def rich(db):
    """Our workshop, furnished, with its history; and what must never leave it."""
    return furnished()


@pytest.fixture
def archive(rich, tmp_path):
    """It as an archive, with the workshop still there."""
    save(workshop=rich.workshop, path=tmp_path / "one.zip", now=NOW)
    return tmp_path / "one.zip"


@pytest.fixture
def moved(db, tmp_path, settings):
    """It as an archive, with the workshop nowhere: on another machine, of which nothing is left here. Others have ids of its rows here."""
    if not _MADE:
        here, settings.MEDIA_ROOT = settings.MEDIA_ROOT, tmp_path / "another machine"
        point = transaction.savepoint()
        there = furnished()
        save(workshop=there.workshop, path=tmp_path / "made.zip", now=NOW)
        transaction.savepoint_rollback(point)
        settings.MEDIA_ROOT = here
        _MADE.append(((tmp_path / "made.zip").read_bytes(), there))
    data, there = _MADE[0]
    (tmp_path / "one.zip").write_bytes(data)
    with scopes_disabled():
        factories.furnished_workshop("OUTSIDE")
    return SimpleNamespace(path=tmp_path / "one.zip", **vars(there))


_MADE = []  # once for all tests of a process: nothing of it stays in the database


def furnished():
    """A workshop with one of everything."""
    with scopes_disabled():
        workshop = factories.furnished_workshop(CODE)
        furnish(workshop)
    with scope(workshop=workshop):
        found = {"secrets": told(workshop), **more(workshop)}
        empty = fill_up(workshop)
        Task.objects.update(subject=f"shelf:{found['lot'].pk}:{found['place'].pk}")
        return SimpleNamespace(workshop=workshop, empty=empty, **found)


def told(workshop):
    """Secrets, as they are given and as they are kept."""
    owner = Member.objects.exclude(user=None).order_by("pk").first()
    set_password(user=owner.user, password="a password of nobody's")
    device, token = issue_device(member=owner, name="Scanner", scopes=("read",), by=owner)
    kept = User.objects.get(pk=owner.user_id).password
    return {"a password of nobody's", kept, token, device.digest, device.prefix, "0" * 64}


def more(workshop):
    """What the shared scene has no rows of: a real photo, ids inside JSON and texts, odd texts, rows that are gone."""
    owner = Member.objects.exclude(user=None).order_by("pk").first()
    lot, place, step = Lot.objects.order_by("pk").first(), Place.objects.get(end="storage"), Step.objects.get()
    movement = stock.use(lot=lot, quantity=Decimal(3), place=place, on=factories.DAY, by=owner, ref=f"step:{step.pk}")
    entry, tally, photo = LogEntry.objects.get(), Tally.objects.first(), real_photo(owner)
    Scan.objects.update(answer={"movements": [movement.pk], "lot": lot.pk, "tally": tally.pk, "lies": [{"lot": lot.pk, "place": "x"}]})
    Scan.objects.update(asked={"lot": lot.pk, "note": "\x1d as sent"}, code="01\x1d\\N")
    photo_rows = [{"id": photo.pk, "caption": "of the float"}]
    Claim.objects.update(facts={"photos": photo_rows, "rows": []})
    Signature.objects.update(seen={"photos": [photo.pk], "hours": [[owner.pk, 90], ["Wren", 30]], "took": [], "text": "seen"})
    PickTick.objects.create(workshop=workshop, steps=str(step.pk), lot=lot, place=place, quantity=1, by=owner, at=NOW)
    for key in (f"step:{step.pk}", f"lot:{lot.pk}", "lot:R7", "lot:999999", "scale"):
        DayCheck.objects.create(workshop=workshop, day_id=DayCheck.objects.values_list("day", flat=True)[0], key=key, text=key)
    entry.text = 'a "quoted", text\r\nof two lines\n\\N, = 1 + 1'
    entry.save()
    gone = factories.ItemFactory(workshop=workshop, code="GONE")
    gone.identifiers.all().delete()
    gone.delete()
    said = {"workshop": workshop, "section": step.section, "key": uuid4(), "by": owner, "at": NOW}
    Closing.objects.create(**said, kept={"points": [{"text": "edges", "by": owner.pk}], "steps": []})
    DayPerson.objects.create(workshop=workshop, day_id=SealDay.objects.get().pk, name="Wren", comes=time(9), goes=time(17))
    StepAfter.objects.create(workshop=workshop, step=factories.StepFactory(project=step.project, code="LATER"), after=step)
    line = PackingLine.objects.first()
    stock.receive(lot=lot, quantity=Decimal(2), place=place, on=factories.DAY, by=owner, ref=f"line:{line.pk}/damaged")
    stock.receive(lot=lot, quantity=Decimal(2), place=place, on=factories.DAY, by=owner, ref=f"loan:{UUID(int=5)}")
    return {"photo": photo, "place": place, "movement": movement, "lot": lot, "step": step, "address": owner.user.email}


def fill_up(workshop):
    """A row of every table that has none yet, of what its columns ask for, over and over: one may need another. Gives what stays empty."""
    empty = {label: table.model for label, table in all_tables().items() if not table.of and not table.of_workshop(workshop.pk).exists()}
    while made := [label for label, model in empty.items() if try_to_make(model, workshop)]:
        empty = {label: model for label, model in empty.items() if label not in made}
    return set(empty)


def try_to_make(model, workshop):
    try:
        with transaction.atomic():
            model._base_manager.create(**{field.name: of_kind(field, workshop) for field in model._meta.concrete_fields if is_asked(field)})
    except (IntegrityError, LookupError):
        return False
    return True


def is_asked(field):
    return not field.primary_key and not field.null and not field.blank and (not field.has_default() or field.name == "at")


def of_kind(field, workshop):
    if field.name == "workshop":
        return workshop
    if field.remote_field:
        return field.related_model._base_manager.filter(workshop=workshop).order_by("pk")[:1].get()
    if field.choices:
        return field.flatchoices[0][0]
    kinds = {
        models.DateTimeField: NOW,
        models.DateField: factories.DAY,
        models.TimeField: NOW.time(),
        models.UUIDField: uuid4(),
        models.JSONField: {},
        models.BooleanField: False,
        FractionField: Fraction(7, 3),
    }
    found = next((value for kind, value in kinds.items() if isinstance(field, kind)), None)
    return found if found is not None else 1 if isinstance(field, models.IntegerField | models.DecimalField) else "\\N"


def real_photo(by):
    """The scene's photo, with a picture behind it; and the same picture of something else."""
    picture = photos.read_picture(pictures.picture())
    Photo.objects.all().delete()
    photos.keep(ref=f"lot:{Lot.objects.first().pk}", picture=picture, caption="twice", at=NOW, by=by)
    return photos.keep(ref=f"tally:{Tally.objects.first().pk}", picture=picture, caption="", at=NOW, by=by)

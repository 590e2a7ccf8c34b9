"""Eight at once tick a point, close a section up, finish a step meanwhile, or remove a photo that is being signed: it happens once."""

from collections import Counter
from datetime import UTC, datetime
from uuid import uuid4

import pytest

from buildplan.closeup import services
from buildplan.closeup.models import Closing, GatePoint, GateTick
from buildplan.closeup.starting import CODES, START
from buildplan.logbook import services as logbook
from buildplan.models import Signature
from buildplan.plan.models import Finish
from buildplan.records.services import finish_step
from inventory.models import Photo
from inventory.photos import services as photos
from tests import factories
from tests.factories import DAY
from tests.pictures import picture

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2027, 2, 20, 12, tzinfo=UTC)
REASONS = dict.fromkeys(CODES, "as built")


def kinds(results):
    return Counter(type(result).__name__ for result in results)


@pytest.fixture
def step(project):
    return factories.StepFactory(project=project)


def test_eight_tick_closing_and_finish_the_same_and_each_happens_once(at_once, step, builder):
    section = step.section
    ticked = at_once(lambda _: services.tick(section=section, point="edges", by=builder, now=NOW))
    assert len({tick.pk for tick in ticked}) == 1
    assert (GateTick.objects.count(), GatePoint.objects.count()) == (1, len(START))

    def act(number):
        if number % 2:
            return finish_step(step=step, on=DAY, uses=(), by=builder)
        return services.close(section=section, reasons=REASONS, by=builder, now=NOW, key=uuid4())

    found = kinds(at_once(act))
    assert (found["Closing"], found["AlreadyClosed"]) == (1, 3)
    assert (found["Finish"], Finish.objects.count()) in ((0, 0), (1, 1))
    assert found["Finish"] + found["AlreadyDone"] + found["SectionClosed"] == 4
    kept = Closing.objects.get().kept["steps"]
    assert kept == [f"{step.code}: {f'done {DAY}' if found['Finish'] else 'not done'}"]


def test_eight_sign_an_entry_and_remove_its_photo_and_what_was_seen_is_there(at_once, project, step, builder, owner):
    entry = logbook.write_entry(project=project, step=step, on=DAY, text="Fitted.", key=uuid4(), by=builder, today=DAY)
    shot = photos.read_picture(picture())
    photo = logbook.add_photo(of=entry, picture=shot, caption="", at=NOW, by=builder)

    def act(number):
        if number % 2:
            return photos.remove(photo=photo, by=builder)
        return logbook.sign(of=entry, key=uuid4(), by=owner, now=NOW)

    found = kinds(at_once(act))
    assert (found["Signature"], found["SignedAlready"]) == (1, 3)
    assert Signature.objects.get().seen["photos"] == list(Photo.objects.values_list("pk", flat=True))
    assert (found["PhotoStays"] == 4) == Photo.objects.exists()

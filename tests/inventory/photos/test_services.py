"""Photos: made anew, kept once, gone where their row can't be."""

from datetime import UTC, datetime

import pytest

from inventory.common.pictures import BadPicture
from inventory.models import Photo
from inventory.photos import queries, services
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.pictures import files, picture

NOON = datetime(2027, 2, 20, 12, tzinfo=UTC)


@pytest.fixture
def keep(builder):
    def keep(data=None, **said):
        return services.keep(**{"ref": "crate:7", "picture": services.read_picture(data or picture()), "at": NOON, "by": builder, **said})

    return keep


def test_photo_is_kept_as_a_jpeg_of_its_own(keep, builder):
    found = keep(picture(kind="PNG"), caption=" dented ")

    assert (found.width, found.height, found.caption, found.ref) == (40, 30, "dented", "crate:7")
    assert [path.read_bytes()[:2] for path in files()] == [b"\xff\xd8"]
    assert services.path_of(found) == files()[0]
    [row] = queries.of(["crate:7", "crate:8"])["crate:7"]
    assert (row.id, row.caption, row.by) == (found.pk, "dented", builder.name)


def test_photo_sent_twice_is_kept_once(keep):
    assert keep() == keep()
    assert len(files()) == 1
    assert len({keep().pk, keep(picture(colour="blue")).pk, keep(ref="crate:8").pk}) == 3


@pytest.mark.parametrize("data", [b"%PDF-1.7 and more", b"no picture", picture()[:200]])
def test_what_is_no_picture_is_refused_and_leaves_nothing(keep, data):
    with pytest.raises(BadPicture):
        keep(data)

    assert (files(), Photo.objects.count()) == ([], 0)


def test_photo_whose_row_cannot_be_leaves_no_file(keep):
    with pytest.raises(TypeError):
        keep(at=object())

    assert (files(), Photo.objects.count()) == ([], 0)


def test_one_thing_has_only_so_many_photos(keep, monkeypatch):
    monkeypatch.setattr(services, "MOST_PHOTOS", 1)
    keep()

    with pytest.raises(services.TooManyPhotos, match="1 photos, which are the most"):
        keep(picture(colour="blue"))
    assert len(files()) == 1


def test_removed_photo_takes_its_file_along(keep, builder, django_capture_on_commit_callbacks):
    found = keep()
    with django_capture_on_commit_callbacks(execute=True):
        services.remove(photo=found, by=builder)

    assert (files(), Photo.objects.count()) == ([], 0)


def test_photo_is_removed_by_who_took_it_or_keeps_the_stock(keep, workshop, storekeeper, outsider):
    found = keep()
    for stranger in (factories.MemberFactory(workshop=workshop, role="builder"), factories.MemberFactory(workshop=outsider, role="owner")):
        with pytest.raises(NotAllowed):
            services.remove(photo=found, by=stranger)

    services.remove(photo=found, by=storekeeper)
    assert not Photo.objects.exists()

"""Photos: made anew, kept once, gone where their row can't be."""

from io import BytesIO
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import reverse
from PIL import Image

from inventory.common.pictures import BadPicture
from inventory.models import Photo
from inventory.tallying import photos
from inventory.workshop.policy import NotAllowed
from tests import factories


def picture(width=40, height=30, kind="JPEG", colour="red"):
    file = BytesIO()
    Image.new("RGB", (width, height), colour).save(file, kind)
    return file.getvalue()


def files():
    folder = Path(settings.MEDIA_ROOT)
    return [path for path in folder.rglob("*") if path.is_file()] if folder.exists() else []


@pytest.fixture
def keep(crate, builder, minute):
    def keep(data=None, **said):
        return photos.keep_photo(**{"crate": crate, "data": data or picture(), "at": minute(0), "by": builder, **said})

    return keep


def test_photo_is_kept_as_a_jpeg_of_its_own(keep, count):
    tally = count("SPAR", 1, bag="7/A", finding="damaged")
    found = keep(picture(kind="PNG"), tally=tally, caption=" dented ")

    assert (found.width, found.height, found.caption, found.tally) == (40, 30, "dented", tally)
    assert [path.read_bytes()[:2] for path in files()] == [b"\xff\xd8"]
    assert photos.path_of(found) == files()[0]


def test_photo_sent_twice_is_kept_once(keep):
    assert keep() == keep()
    assert len(files()) == 1
    assert keep(picture(colour="blue")).pk != keep().pk


@pytest.mark.parametrize("data", [b"%PDF-1.7 and more", b"no picture", picture()[:200]])
def test_what_is_no_picture_is_refused_and_leaves_nothing(keep, data):
    with pytest.raises(BadPicture):
        keep(data)

    assert (files(), Photo.objects.count()) == ([], 0)


def test_photo_whose_row_cannot_be_leaves_no_file(keep, minute):
    with pytest.raises(TypeError):
        keep(at=object())

    assert (files(), Photo.objects.count()) == ([], 0)


def test_crate_has_only_so_many_photos(keep, monkeypatch):
    monkeypatch.setattr(photos, "MOST_PHOTOS", 1)
    keep()

    with pytest.raises(photos.TooManyPhotos, match="1 photos, which are the most"):
        keep(picture(colour="blue"))
    assert len(files()) == 1


def test_photo_takes_hands_and_a_count_of_its_crate(keep, reader, bench, count):
    with pytest.raises(NotAllowed):
        keep(by=reader)
    with pytest.raises(photos.OtherCrate):
        keep(crate=factories.CrateFactory(bench=bench), tally=count("SPAR", 1))
    assert files() == []


def test_removed_photo_takes_its_file_along(keep, builder, django_capture_on_commit_callbacks):
    found = keep()
    with django_capture_on_commit_callbacks(execute=True):
        photos.remove_photo(photo=found, by=builder)

    assert (files(), Photo.objects.count()) == ([], 0)


class TestPages:
    @pytest.fixture
    def client_of(self, as_member):
        return as_member

    def test_photo_is_shown_to_members_and_kept_by_their_browser_alone(self, keep, as_member, reader):
        answer = as_member(reader).get(reverse("photo", args=[keep().pk]))

        assert (answer.status_code, answer["Content-Type"], answer["X-Content-Type-Options"]) == (200, "image/jpeg", "nosniff")
        assert answer["Cache-Control"].startswith("private")

    def test_photo_is_nobody_else_s(self, keep, client, outsider):
        found = keep()
        client.force_login(factories.MemberFactory(workshop=outsider).user, backend="django.contrib.auth.backends.ModelBackend")

        assert client.get(reverse("photo", args=[found.pk])).status_code == 404

    def test_photo_whose_file_is_gone_is_a_404(self, keep, as_member, reader):
        found = keep()
        photos.path_of(found).unlink()

        assert as_member(reader).get(reverse("photo", args=[found.pk])).status_code == 404

    def test_page_keeps_a_photo_and_refuses_a_pdf_by_that_name(self, crate, as_member, builder):
        address, client = reverse("crate-photos", args=[crate.pk]), as_member(builder)
        good, bad = BytesIO(picture()), BytesIO(b"%PDF-1.7")
        good.name, bad.name = "crate.jpg", "photo.jpg"

        refused = client.post(address, {"photo": bad})
        assert (refused.status_code, "This is a PDF, not a picture" in refused.content.decode()) == (422, True)
        assert client.post(address, {"photo": good, "caption": "as it came"}).status_code == 302
        assert "as it came" in client.get(address).content.decode()

    def test_photo_of_a_count_of_another_crate_is_a_404(self, crate, bench, count, as_member, builder):
        other = factories.CrateFactory(bench=bench)
        address = f"{reverse('crate-photos', args=[other.pk])}?tally={count('SPAR', 1).pk}"

        assert as_member(builder).get(address).status_code == 404

"""Photos of a crate and of what a count found, kept and shown."""

import pytest
from django.urls import reverse

from inventory.models import Photo
from inventory.photos.services import path_of, read_picture
from inventory.tallying import photos, queries
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.pictures import files, picture, upload


@pytest.fixture
def keep(crate, builder, minute):
    def keep(data=None, **said):
        return photos.keep_picture(**{"crate": crate, "picture": read_picture(data or picture()), "at": minute(0), "by": builder, **said})

    return keep


def test_photos_of_a_crate_are_its_own_and_those_of_its_counts(keep, crate, bench, count):
    tally, other = count("SPAR", 1, bag="7/A", finding="damaged"), factories.CrateFactory(bench=bench)
    kept = [keep(), keep(tally=tally), keep(crate=other)]

    assert [row.id for row in queries.photos(crate)] == [kept[0].pk, kept[1].pk]
    assert [row.id for row in queries.photos(crate, tally)] == [kept[1].pk]
    [line] = [line for line in queries.differences(crate) if line.item == "SPAR" and line.kind == "damaged"]
    assert line.photos == 1


def test_photo_takes_hands_and_a_count_of_its_crate(keep, reader, bench, count):
    with pytest.raises(NotAllowed):
        keep(by=reader)
    with pytest.raises(photos.OtherCrate):
        keep(crate=factories.CrateFactory(bench=bench), tally=count("SPAR", 1))
    assert files() == []


def test_photo_is_shown_to_members_and_kept_by_their_browser_alone(keep, as_member, reader):
    answer = as_member(reader).get(reverse("photo", args=[keep().pk]))

    assert (answer.status_code, answer["Content-Type"], answer["X-Content-Type-Options"]) == (200, "image/jpeg", "nosniff")
    assert answer["Cache-Control"].startswith("private")


def test_photo_is_nobody_else_s(keep, client, outsider):
    found = keep()
    client.force_login(factories.MemberFactory(workshop=outsider).user, backend="django.contrib.auth.backends.ModelBackend")

    assert client.get(reverse("photo", args=[found.pk])).status_code == 404


def test_photo_whose_file_is_gone_is_a_404(keep, as_member, reader):
    found = keep()
    path_of(found).unlink()

    assert as_member(reader).get(reverse("photo", args=[found.pk])).status_code == 404


def test_page_keeps_a_photo_refuses_a_pdf_by_that_name_and_removes(crate, as_member, builder):
    address, client = reverse("crate-photos", args=[crate.pk]), as_member(builder)

    refused = client.post(address, {"photo": upload(b"%PDF-1.7")})
    assert (refused.status_code, "This is a PDF, not a picture" in refused.content.decode()) == (422, True)
    assert client.post(address, {"photo": upload(picture()), "caption": "as it came"}).status_code == 302
    assert "as it came" in client.get(address).content.decode()
    assert client.post(reverse("remove-photo", args=[Photo.objects.get().pk]), {"next": address}).url == address
    assert "No photos yet." in client.get(address).content.decode()


def test_photo_of_a_count_of_another_crate_is_a_404(crate, bench, count, as_member, builder):
    other = factories.CrateFactory(bench=bench)
    address = f"{reverse('crate-photos', args=[other.pk])}?tally={count('SPAR', 1).pk}"

    assert as_member(builder).get(address).status_code == 404

"""Photos that the letter of a sent claim names stay with it."""

import pytest
from django.urls import reverse

from inventory.claims import services
from inventory.models import Photo, Tally
from inventory.photos.services import PhotoStays, read_picture, remove
from inventory.tallying.photos import keep_picture
from tests.factories import DAY
from tests.inventory.claims.conftest import NOON
from tests.pictures import picture


@pytest.fixture
def shoot(crate, storekeeper):
    """Keep a photo of the crate, or of one of its counts."""

    def shoot(colour, tally=None):
        return keep_picture(crate=crate, tally=tally, picture=read_picture(picture(colour=colour)), at=NOON, by=storekeeper)

    return shoot


def test_photos_of_a_sent_claim_stay_and_others_of_its_crate_go(crate, short, shoot, storekeeper):
    damaged = Tally.objects.get(finding="damaged")
    named = [shoot("red", damaged), shoot("blue")]
    drafts = {claim.fault: claim for claim in services.draft_claims(crate=crate, on=DAY, by=storekeeper)}
    services.send_claim(claim=drafts["concealed"], on=DAY, by=storekeeper)
    added = shoot("green")

    for photo in named:
        with pytest.raises(PhotoStays, match="the claim sent to Kit Works on 2027-02-20 shows this photo, so it stays with the letter"):
            remove(photo=photo, by=storekeeper)
    remove(photo=added, by=storekeeper)
    assert set(Photo.objects.all()) == set(named)


def test_photo_of_a_draft_may_go(crate, short, shoot, storekeeper):
    photo = shoot("red", Tally.objects.get(finding="damaged"))
    services.draft_claims(crate=crate, on=DAY, by=storekeeper)

    remove(photo=photo, by=storekeeper)
    assert not Photo.objects.exists()


def test_page_says_why_a_photo_of_a_sent_claim_stays(crate, short, shoot, storekeeper, as_member):
    photo = shoot("blue")
    drafts = {claim.fault: claim for claim in services.draft_claims(crate=crate, on=DAY, by=storekeeper)}
    services.send_claim(claim=drafts["concealed"], on=DAY, by=storekeeper)
    added = shoot("green")

    page = as_member(storekeeper).get(reverse("crate-photos", args=[crate.pk])).content.decode()
    assert "The claim sent to Kit Works on 2027-02-20 shows this photo" in page
    assert reverse("remove-photo", args=[added.pk]) in page
    assert reverse("remove-photo", args=[photo.pk]) not in page

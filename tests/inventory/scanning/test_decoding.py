"""Codes in photos, on the server: the page's photo form and the API alike."""

from http import HTTPStatus
from io import BytesIO

import pytest
import zxingcpp
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from inventory.common.pictures import BadPicture
from inventory.scanning.decoding import NoCode, codes_in
from inventory.workshop import services as workshop_services

GTIN = "4006381333931"
GS1 = f"(01)0{GTIN}(10)AB1(17)270301"
GS1_TEXT = f"010{GTIN}10AB1\x1d17270301"
ENVELOPE = "[)>\x1e06\x1d1PMS20470AD4-6\x1dQ100\x1e\x04"


def picture(text, form, **options):
    return Image.fromarray(zxingcpp.create_barcode(text, form, **options).to_image(scale=4, add_quiet_zones=True))


def encoded(*pictures, form="PNG"):
    whole = Image.new("L", (max(one.width for one in pictures) + 40, sum(one.height + 40 for one in pictures)), 255)
    top = 20
    for one in pictures:
        whole.paste(one, (20, top))
        top += one.height + 40
    file = BytesIO()
    whole.save(file, form)
    return file.getvalue()


@pytest.mark.parametrize(
    ("text", "form", "options", "read"),
    [
        ("https://hangar.example/t/X", zxingcpp.QRCode, {}, "]Q1https://hangar.example/t/X"),
        (GS1, zxingcpp.QRCode, {"gs1": True}, f"]Q3{GS1_TEXT}"),
        (GS1, zxingcpp.DataMatrix, {"gs1": True}, f"]d2{GS1_TEXT}"),
        (GS1, zxingcpp.Code128, {"gs1": True}, f"]C1{GS1_TEXT}"),
        (ENVELOPE, zxingcpp.DataMatrix, {}, f"]d1{ENVELOPE}"),
        (f"(01)0{GTIN}", zxingcpp.DataBarOmni, {}, f"]e0010{GTIN}"),
        (GTIN, zxingcpp.EAN13, {}, f"]E0{GTIN}"),
        ("96385074", zxingcpp.EAN8, {}, "]E496385074"),
        ("036000291452", zxingcpp.UPCA, {}, "]E00036000291452"),
        ("MS20470AD4-6", zxingcpp.Code128, {}, "]C0MS20470AD4-6"),
        ("MS20470AD4-6", zxingcpp.Code39, {}, "]A0MS20470AD4-6"),
        ("14006381333938", zxingcpp.ITF14, {}, "]I114006381333938"),
    ],
)
def test_code_comes_as_a_scanner_would_send_it(text, form, options, read):
    (found,) = codes_in(encoded(picture(text, form, **options)))

    assert found.text == read
    assert found.symbology == read[:3]


def test_separators_are_written_as_pictures_where_a_form_carries_them():
    (found,) = codes_in(encoded(picture(GS1, zxingcpp.DataMatrix, gs1=True)))

    assert found.written == f"]d2010{GTIN}10AB1␝17270301"
    assert found.shown == f"010{GTIN}10AB1␝17270301"


def test_each_code_of_a_photo_comes_once():
    data = encoded(picture(GTIN, zxingcpp.EAN13), picture("MS20470AD4-6", zxingcpp.QRCode), picture(GTIN, zxingcpp.EAN13), form="JPEG")

    assert sorted(found.text for found in codes_in(data)) == [f"]E0{GTIN}", "]Q1MS20470AD4-6"]


def test_photo_without_a_code_says_what_would_do():
    with pytest.raises(NoCode, match="go closer"):
        codes_in(encoded(Image.new("L", (300, 300), 255)))


def test_what_is_no_photo_is_refused():
    with pytest.raises(BadPicture):
        codes_in(b"%PDF-1.7")


# The API


def post(client, data, **headers):
    return client.post(reverse("api-decode"), {"photo": SimpleUploadedFile("bag.png", data, "image/png")}, **headers)


def test_api_reads_a_photo(as_member, builder):
    answer = post(as_member(builder), encoded(picture(GS1, zxingcpp.DataMatrix, gs1=True)))

    assert answer.status_code == HTTPStatus.OK
    assert answer.json() == {"codes": [{"text": f"]d2{GS1_TEXT}", "symbology": "]d2", "format": "Data Matrix"}]}


@pytest.mark.parametrize(
    ("data", "told"),
    [(b"%PDF-1.7", "This is a PDF"), (b"x", "no JPEG, PNG or WebP"), (encoded(Image.new("L", (99, 99), 255)), "No code can be read")],
)
def test_api_refuses_in_a_problem_document(as_member, builder, data, told):
    answer = post(as_member(builder), data)

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert answer["Content-Type"] == "application/problem+json"
    assert told in answer.json()["detail"]


def test_api_refuses_a_body_without_a_photo(as_member, builder):
    answer = as_member(builder).post(reverse("api-decode"), {})

    assert answer.status_code == HTTPStatus.BAD_REQUEST
    assert "photo" in answer.json()["errors"]


@pytest.mark.parametrize(("scopes", "status"), [(["scan"], HTTPStatus.OK), (["manage"], HTTPStatus.OK), (["read"], HTTPStatus.FORBIDDEN)])
def test_api_wants_the_scope_scan(client, owner, scopes, status):
    _, token = workshop_services.issue_device(member=owner, name="Scanner", scopes=scopes, by=owner)

    answer = post(client, encoded(picture(GTIN, zxingcpp.EAN13)), headers={"authorization": f"Bearer {token}"})

    assert answer.status_code == status

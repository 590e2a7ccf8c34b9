"""`manage.py expiries`, called as pinned."""

import json
from datetime import date
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from tests import factories


def run(*arguments):
    out = StringIO()
    call_command("expiries", *arguments, "--workshop", "MARSH", stdout=out)
    return out.getvalue()


@pytest.fixture
def lot(bench, workshop):
    lot = factories.LotFactory(
        bench=bench,
        item=factories.ItemFactory(workshop=workshop, code="SEAL", unit="g"),
        code="R7",
        expires_on=date(2027, 3, 31),
        expires_as="month",
    )
    factories.stock(lot, "12.5", factories.PlaceFactory(workshop=workshop, path="Fridge/Door"))
    return lot


def test_expiries_json_is_the_pinned_object(lot):
    assert json.loads(run("--before", "2027-04-01", "--json")) == {
        "before": "2027-04-01",
        "lines": [
            {
                "item": "SEAL",
                "lot": "R7",
                "place": "Fridge/Door",
                "quantity": "12.5",
                "unit": "g",
                "last_usable_day": "2027-03-31",
                "limit": "expires",
                "trace": [{"text": "expires: usable through 2027-03-31", "source": "expires 2027-03, as printed"}],
            }
        ],
    }


def test_expiries_text_names_lot_place_and_reason(lot):
    assert "2027-03-31  12.5 g of SEAL, lot R7, in Fridge/Door: expires 2027-03, as printed" in run("--before", "2027-04-01")


def test_expiries_never_show_the_outsider(lot, outsider):
    assert "OUTSIDE" not in run("--before", "2099-01-01")


def test_expiries_refuse_a_bad_day_as_wrong_usage(lot):
    with pytest.raises(CommandError, match="--before"):
        run("--before", "2027-02-30")

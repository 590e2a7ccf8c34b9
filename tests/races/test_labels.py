"""Several people print labels of the same things at once: each thing has one token."""

import pytest

from inventory.labels import services as labels
from inventory.models import Label
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)


def test_eight_at_once_print_the_same_tokens(at_once, workshop, builder):
    places = factories.PlaceFactory.create_batch(5, workshop=workshop)

    found = at_once(lambda _: [label.token for label in labels.ensure_labels(rows=places, by=builder)])

    assert len({tuple(tokens) for tokens in found}) == 1
    assert Label.objects.count() == 5

"""Reads of the catalogue."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from inventory.catalogue import calc
from inventory.catalogue.models import Identifier, Item
from inventory.common.rows import batches
from inventory.workshop.models import Workshop


def find(workshop: Workshop, text: str) -> Item | None:
    """The item that a code means, whatever its case and blanks. One query."""
    if "\0" in text:  # no code has one, and PostgreSQL can't even compare it
        return None
    found = Identifier.objects.filter(workshop=workshop, key=calc.key(text)).select_related("item").first()
    return found.item if found else None


def codes(workshop: Workshop) -> dict[str, int]:
    """Every code of the workshop as it is compared (`calc.key`), with the item it means. One query."""
    return dict(Identifier.objects.filter(workshop=workshop).values_list("key", "item_id"))


def items_by_id(ids: Iterable[int]) -> dict[int, Item]:
    """The items of these ids; one that is another workshop's is left out. One query for each 500."""
    found: dict[int, Item] = {}
    for batch in batches(set(ids)):
        found.update(Item.objects.in_bulk(batch))
    return found


@dataclass(frozen=True, slots=True)
class CodeOwner:
    """The item that a code means already."""

    item_id: int
    item_code: str


def owners(workshop_id: int, keys: Collection[str]) -> dict[str, CodeOwner]:
    """Which of `keys` mean something already. One query for each 500."""
    found: dict[str, CodeOwner] = {}
    for batch in batches(keys):
        rows = Identifier.objects.filter(workshop_id=workshop_id, key__in=batch).values_list("key", "item_id", "item__code")
        found.update((key, CodeOwner(item_id, code)) for key, item_id, code in rows)
    return found


def counted(item_ids: Collection[int]) -> frozenset[int]:
    """Which of these items anything is counted in: lots, packing lines, and what other slices and apps hang on them.

    One query a kind of row for each 500 items. Changing the unit of such an item would change what those rows say.
    """
    found: set[int] = set()
    for relation in Item._meta.related_objects:  # noqa: SLF001 - Django's documented API
        if relation.related_model is not Identifier:
            rows = relation.related_model._default_manager  # noqa: SLF001 - likewise
            name = relation.field.attname
            for batch in batches(item_ids):
                found.update(rows.filter(**{f"{name}__in": batch}).values_list(name, flat=True).distinct())
    return frozenset(found)

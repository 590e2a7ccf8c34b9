"""Reads of labels: whose one is, what stands on it, what to print next."""

import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from django.db.models import Count, Q, Value
from django.db.models.functions import Concat, Upper
from django.utils.translation import gettext, gettext_noop

from inventory.catalogue import calc as codes
from inventory.catalogue.models import Item
from inventory.common.rows import batches
from inventory.labels.calc import STARTING, Sheet
from inventory.labels.models import Label, LabelSheet
from inventory.receiving.models import Bag, Crate
from inventory.shelflife.calc import of_columns
from inventory.stock.models import End, Holding, Lot, Place

STARTING_NAMES = (
    gettext_noop("A4, 3 x 8 labels"),
    gettext_noop("Letter, 3 x 10 labels"),
    gettext_noop("A4, 5 x 20 small ones for drawers"),
    gettext_noop("Roll, 100 x 50"),
)

Labelled = Bag | Lot | Place
KINDS: dict[str, type[Labelled]] = {"bag": Bag, "lot": Lot, "place": Place}


class Thing(NamedTuple):
    """What a label may stand on: its kind (bag, lot, place) and its row's id."""

    kind: str
    id: int

    def __str__(self) -> str:
        """As forms and addresses write it."""
        return f"{self.kind}-{self.id}"


@dataclass(frozen=True, slots=True)
class Face:
    """What stands on a label beside its code, and what lists say of it. `token` is None where none was made yet."""

    thing: Thing
    token: str | None
    head: str
    name: str = ""
    facts: tuple[str, ...] = ()
    where: str = ""


def labelled(token: str) -> Label | None:
    """The label of a token, in any case, in the workshop in scope; with what it stands on. One query."""
    if not token.isascii() or not token.isalnum():
        return None
    rows = Label.objects.select_related("bag__crate__bench", "lot__item", "lot__bench", "place")
    return rows.filter(token=token.upper()).first()


def thing_of(label: Label) -> Thing:
    """What a label stands on."""
    return next(Thing(kind, pk) for kind in KINDS if (pk := getattr(label, f"{kind}_id")) is not None)


def rows_of(things: Sequence[Thing]) -> list[Labelled]:
    """The rows of `things` in their order; one that is another workshop's, or gone, is left out. One query a kind for each 500."""
    found: dict[Thing, Labelled] = {}
    for kind, model in KINDS.items():
        for batch in batches(thing.id for thing in things if thing.kind == kind):
            rows = model._default_manager.filter(_storage(kind), pk__in=batch)  # noqa: SLF001 - Django's documented API
            found.update((Thing(kind, row.pk), row) for row in rows)
    return [found[thing] for thing in things if thing in found]


def _storage(kind: str) -> Q:
    """The ends of the ledger get no label: nothing lies there."""
    return Q(end=End.STORAGE) if kind == "place" else Q()


def faces(things: Sequence[Thing]) -> list[Face]:
    """What the labels of `things` say, in their order. At most one query a kind for each 500, and one more for lots."""
    found: dict[Thing, Face] = {}
    for kind, read in (("bag", _bag_faces), ("lot", _lot_faces), ("place", _place_faces)):
        for batch in batches(thing.id for thing in things if thing.kind == kind):
            found.update((face.thing, face) for face in read(batch))
    return [found[thing] for thing in things if thing in found]


def _bag_faces(ids: Sequence[int]) -> Iterator[Face]:
    rows = Bag.objects.filter(pk__in=ids).annotate(count=Count("lines"))
    for pk, token, crate, path, bench, place, count in rows.values_list(
        "pk", "label__token", "crate__code", "path", "crate__bench__name", "place__path", "count"
    ):
        lines = f"{count} line" if count == 1 else f"{count} lines"
        yield Face(Thing("bag", pk), token, f"Bag {path}", f"crate {crate}", (f"to {bench}", lines), place or "")


def _lot_faces(ids: Sequence[int]) -> Iterator[Face]:
    lies = _where(ids)
    columns = ("pk", "label__token", "item__code", "item__name", "code", "expires_on", "expires_as")
    for pk, token, item, name, code, expires_on, expires_as in Lot.objects.filter(pk__in=ids).values_list(*columns):
        expires = of_columns(expires_on, expires_as)
        facts = (f"lot {code}" if code else "no lot code", f"expires {expires}" if expires else "")
        yield Face(Thing("lot", pk), token, item, name, tuple(fact for fact in facts if fact), lies.get(pk, ""))


def _where(lots: Sequence[int]) -> dict[int, str]:
    """Where each lot lies, if all of it lies in one place."""
    found: dict[int, str] = {}
    for lot, path in Holding.objects.filter(lot__in=lots, quantity__gt=0).values_list("lot_id", "place__path"):
        found[lot] = "" if lot in found else path
    return found


def _place_faces(ids: Sequence[int]) -> Iterator[Face]:
    rows = Place.objects.filter(pk__in=ids, end=End.STORAGE)
    for pk, token, name, path in rows.values_list("pk", "label__token", "name", "path"):
        yield Face(Thing("place", pk), token, name, "", (), path if path != name else "")


# What to print: each gives the things in the order in which people put labels on.


def bags(crate: Crate) -> list[Thing]:
    """The bags of a crate, by path. One query."""
    return [Thing("bag", pk) for pk in Bag.objects.filter(crate=crate).order_by("path").values_list("pk", flat=True)]


def places(under: str = "") -> list[Thing]:
    """A place and all within it, or every place. Where no place has that path, those whose path holds it. At most two queries."""
    storage = Place.objects.filter(end=End.STORAGE).order_by("key").values_list("pk", flat=True)
    found = storage.filter(_within(under)) or storage.filter(key__contains=_key(under))
    return [Thing("place", pk) for pk in found]


def lots(*, item: Item | None = None, under: str = "", lot: Lot | None = None) -> list[Thing]:
    """The lots on hand of an item, in places as `places` finds them, or both; by item and code. Or one lot. At most three queries."""
    if lot is not None:
        return [Thing("lot", lot.pk)]
    held = Holding.objects.filter(quantity__gt=0)
    if under:
        held = held.filter(place__in=[thing.id for thing in places(under)])
    rows = Lot.objects.filter(pk__in=held.values("lot_id"))
    if item is not None:
        rows = rows.filter(item=item)
    return [Thing("lot", pk) for pk in rows.order_by("item__code", "code", "pk").values_list("pk", flat=True)]


def _within(under: str) -> Q:
    key = _key(under)
    return Q(key=key) | Q(key__startswith=f"{key}/") if key else Q()


def _key(path: str) -> str:
    """A path as places are compared, blanks around its names left out."""
    return unicodedata.normalize("NFC", "/".join(name.strip() for name in path.split("/")).casefold())


class Typed(NamedTuple):
    """What lines of a typed list mean, and the lines that mean nothing here."""

    things: tuple[Thing, ...]
    unknown: tuple[str, ...]


def typed(lines: Iterable[str]) -> Typed:
    """What each line names: a place's path, a bag (`CRATE-7/7A/2`), a lot's code, or an item's code, which means its lots on hand.

    The first of these that fits; what is named twice is taken once. Four queries for each 500.
    """
    wanted = list(dict.fromkeys(line.strip() for line in lines if line.strip() and "\0" not in line))
    found: dict[str, tuple[Thing, ...]] = {}
    for batch in batches(wanted):
        found.update(_typed(batch))
    things = dict.fromkeys(thing for line in wanted for thing in found.get(line, ()))
    return Typed(tuple(things), tuple(line for line in wanted if not found.get(line)))


def _typed(lines: Sequence[str]) -> dict[str, tuple[Thing, ...]]:
    """Four kinds of names. SQLite's UPPER knows only ASCII: the text as it was typed is looked for beside it."""
    uppers = [line.upper() for line in lines]
    at = dict(Place.objects.filter(end=End.STORAGE, key__in=[_key(line) for line in lines]).values_list("key", "pk"))
    bagged = Bag.objects.annotate(whole=Concat("crate__code", Value("/"), "path")).annotate(upper=Upper("whole"))
    bags_of = _by_text(bagged.filter(Q(whole__in=lines) | Q(upper__in=uppers)).values_list("whole", "pk"))
    coded = Lot.objects.annotate(upper=Upper("code")).filter(Q(code__in=lines) | Q(upper__in=uppers)).order_by("pk")
    lots_of = _by_text(coded.values_list("code", "pk"))
    held = Holding.objects.filter(quantity__gt=0).values("lot_id")
    named = Lot.objects.filter(item__identifiers__key__in=[codes.key(line) for line in lines], pk__in=held).order_by("code", "pk")
    of_items = _by_text(named.values_list("item__identifiers__key", "pk"))
    return {
        line: _first(
            ("place", at.get(_key(line))),
            ("bag", bags_of.get(line.upper())),
            ("lot", lots_of.get(line.upper())),
            ("lot", of_items.get(codes.key(line))),
        )
        for line in lines
    }


def _by_text(pairs: Iterable[tuple[str, int]]) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    for text, pk in pairs:
        found.setdefault(text.upper(), []).append(pk)
    return found


def _first(*found: tuple[str, int | list[int] | None]) -> tuple[Thing, ...]:
    for kind, ids in found:
        if ids:
            return tuple(Thing(kind, pk) for pk in (ids if isinstance(ids, list) else [ids]))
    return ()


def crates_with_bags() -> list[tuple[int, str]]:
    """The crates that have bags, the latest first: id and code. One query."""
    return list(Crate.objects.filter(bags__isnull=False).distinct().order_by("-pk").values_list("pk", "code"))


# Sheets


def own_sheets() -> list[Sheet]:
    """The workshop's own sheets, by name. One query."""
    return [as_sheet(row) for row in LabelSheet.objects.order_by("name", "pk")]


def sheets() -> list[Sheet]:
    """What labels can be printed on: the workshop's own sheets, or the starting ones where it has none. One query."""
    return own_sheets() or starting_sheets()


def starting_sheets() -> list[Sheet]:
    """What labels can be printed on before a workshop has a sheet of its own, by names in the reader's language."""
    return [replace(sheet, name=gettext(sheet.name)) for sheet in STARTING]


def as_sheet(row: LabelSheet) -> Sheet:
    """A sheet as the arithmetic takes it."""
    across = (row.page_width, row.page_height, row.left, row.top, row.columns, row.rows)
    return Sheet(str(row.pk), row.name, *across, row.label_width, row.label_height, row.gap_x, row.gap_y)


def item_codes() -> list[tuple[str, str]]:
    """The items that something is on hand of, to choose from: code and name. One query."""
    held = Lot.objects.filter(pk__in=Holding.objects.filter(quantity__gt=0).values("lot_id"))
    return list(Item.objects.filter(pk__in=held.values("item_id")).order_by("code").values_list("code", "name"))

"""The only writer of items and their codes."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from fractions import Fraction

from django.db import transaction
from simple_history.utils import bulk_create_with_history, bulk_update_with_history

from inventory.catalogue import calc, queries, units
from inventory.catalogue.models import Identifier, Item, Kind
from inventory.common.history import changed_by
from inventory.common.problems import Problem
from inventory.common.quantities import BadQuantity, positive
from inventory.common.rows import BATCH, batches, find_or_make
from inventory.common.texts import BadText, filled
from inventory.workshop import policy
from inventory.workshop.models import Member, Workshop

MOST_CODE = 80
MOST_NAME = 200


@dataclass(frozen=True, slots=True)
class ItemData:
    """An item as a catalogue states it. `pack` is in `unit`; `diameter` in inches; `identifiers` are its further codes."""

    code: str
    name: str
    kind: str
    unit: str
    identifiers: tuple[str, ...] = ()
    pack: Decimal | None = None
    lead_days: int | None = None
    life_months: int | None = None
    open_life_days: int | None = None
    min_life_days: int = 0
    extend_part: Fraction | None = None
    diameter: Fraction | None = None
    gravity: Decimal | None = None
    base: Decimal | None = None
    accelerator: Decimal | None = None


ALWAYS = frozenset({"name", "kind", "unit"})
OPTIONAL = frozenset(field.name for field in fields(ItemData)) - ALWAYS - {"code", "identifiers"}


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with the item at `index`, and in which of its columns."""

    index: int
    column: str
    text: str


class BadItems(Problem):
    """Items that can't all be saved; `faults` holds each reason."""

    title = "These items can't be saved"

    def __init__(self, faults: Sequence[Fault]) -> None:
        """The sentence is all of the reasons."""
        super().__init__("; ".join(fault.text for fault in faults))
        self.faults = tuple(faults)


class CodeTaken(Problem):
    """A code means one thing only."""

    status = 409
    title = "This code means something else"


class ItemInUse(Problem):
    """An item that something is counted in stays."""

    status = 409
    title = "Something is counted in this item"


class OwnCode(Problem):
    """An item's own code can't be taken from it."""

    status = 409
    title = "This is the item's own code"


@dataclass(slots=True)
class Saved:
    """The items in the order they were given; how many of them were made and changed, and how many codes were added."""

    items: tuple[Item, ...] = ()
    made: int = 0
    changed: int = 0
    identifiers: int = 0


@transaction.atomic
def save_items(*, items: Sequence[ItemData], by: Member, stated: Collection[str] = OPTIONAL) -> Saved:
    """Make the items that aren't there yet, and bring those that are to what is said of them.

    `stated` are the optional columns that are said at all: the others of an item that is there stay. It is known again by any
    spelling of its code, which it keeps. Codes are only added: one that was taught since stays.
    Refuses all of it by `BadItems`, with every fault, where a code means another item, a value makes no sense, or the unit would
    change of an item that something is counted in already. A fixed number of queries for each 500 items.
    """
    policy.require(by, "keep_stock")
    lock(by)
    known = _known(by, items)
    if faults := _faults(by, items, known):
        raise BadItems(faults)
    saved = _save(items, known, by, ALWAYS | (frozenset(stated) & OPTIONAL))
    saved.identifiers = _add_codes(zip(saved.items, items, strict=True), by)
    return saved


@transaction.atomic
def add_identifier(*, item: Item, text: str, by: Member) -> Identifier:
    """Teach a further code of `item`; one that it has already is returned. Refuses a code that means another item."""
    policy.own(by, item)
    policy.require(by, "keep_stock")
    key = _checked_key(text)

    def make() -> Identifier:
        row = changed_by(Identifier(workshop_id=item.workshop_id, item=item, text=text.strip(), key=key), by)
        row.save()
        return row

    row, _ = find_or_make(lambda: Identifier.objects.filter(key=key).select_related("item").first(), make)
    if row.item_id != item.pk:
        raise CodeTaken(_taken(text, row.item.code))
    return row


@transaction.atomic
def make_item(*, data: ItemData, by: Member) -> Item:
    """Make one new item. Refuses a code, its own or a further one, that means something already."""
    policy.require(by, "keep_stock")
    lock(by)
    for column, text in _codes(data):
        del column
        _refuse_taken(by, text, None)
    return save_items(items=[data], by=by).items[0]


@transaction.atomic
def edit_item(*, item: Item, changes: Mapping[str, object], by: Member) -> Item:
    """Bring some columns of an item to what is said of them. A new code of its own is one more code: the one before still means it.

    Refuses by `BadItems` what `save_items` refuses, another unit of an item that something is counted in among it.
    """
    policy.own(by, item)
    policy.require(by, "keep_stock")
    lock(by)
    item = Item.objects.select_for_update(no_key=True).get(pk=item.pk)
    data = replace(_stated(item), **changes)  # type: ignore[arg-type] # the names are its own
    if faults := [*_value_faults([data]), *_unit_faults([data], {calc.key(data.code): item})]:
        raise BadItems(faults)
    _refuse_taken(by, data.code, item)
    if _apply(item, data, ALWAYS | OPTIONAL | {"code"}):
        changed_by(item, by).save()
        _add_codes(iter([(item, data)]), by)
    return item


@transaction.atomic
def remove_item(*, item: Item, by: Member) -> None:
    """Remove an item and its codes. Refuses one that anything is counted in, a plan's need or an empty lot included."""
    policy.own(by, item)
    policy.require(by, "keep_stock")
    item = Item.objects.select_for_update().get(pk=item.pk)  # nobody hangs a row on it meanwhile
    if queries.counted({item.pk}):
        raise ItemInUse(f"{item.code} stays: lots, packing lines or needs of plans are counted in it")
    for row in item.identifiers.all():
        changed_by(row, by).delete()
    changed_by(item, by).delete()


@transaction.atomic
def remove_identifier(*, identifier: Identifier, by: Member) -> None:
    """Forget a code that was taught. Refuses the item's own code."""
    policy.own(by, identifier)
    policy.require(by, "keep_stock")
    if is_own(identifier):
        raise OwnCode(f"{identifier.text} is the code of {identifier.item.name} itself: give the item another one first")
    changed_by(identifier, by).delete()


def is_own(identifier: Identifier) -> bool:
    """Whether it is the code that its item goes by."""
    return calc.key(identifier.item.code) == identifier.key


def lock(by: Member) -> None:
    """Hold the workshop until the transaction ends: nobody adds a code between the look and the save."""
    Workshop.objects.select_for_update(no_key=True).get(pk=by.workshop_id)


def _stated(item: Item) -> ItemData:
    return ItemData(**{name: getattr(item, name) for name in ("code", *ALWAYS, *OPTIONAL)})


def _refuse_taken(by: Member, text: str, item: Item | None) -> None:
    key = calc.key(text)
    owner = queries.owners(by.workshop_id, {key}).get(key)
    if owner is not None and (item is None or owner.item_id != item.pk):
        raise CodeTaken(_taken(text, owner.item_code))


def _known(by: Member, items: Sequence[ItemData]) -> dict[str, Item]:
    """The items that are there, by the key of their own code."""
    owners = queries.owners(by.workshop_id, {calc.key(data.code) for data in items})
    found: dict[str, Item] = {}
    for batch in batches({owner.item_id for owner in owners.values()}):
        found.update((calc.key(item.code), item) for item in Item.objects.filter(pk__in=batch))
    return found


def _faults(by: Member, items: Sequence[ItemData], known: Mapping[str, Item]) -> list[Fault]:
    found = [*_value_faults(items), *_code_faults(by, items), *_unit_faults(items, known)]
    return sorted(found, key=lambda fault: fault.index)


def _value_faults(items: Sequence[ItemData]) -> Iterator[Fault]:
    for index, data in enumerate(items):
        for column, check in _CHECKS.items():
            try:
                check(data)
            except Problem as problem:
                yield Fault(index, column, str(problem))


def _checked_key(text: str) -> str:
    filled("code", text, MOST_CODE)
    return filled("code", calc.key(text), MOST_CODE)  # one case may take more letters than the other


def _check_identifiers(data: ItemData) -> None:
    for text in data.identifiers:
        _checked_key(text)


def _check_kind(data: ItemData) -> None:
    if data.kind not in Kind.values:
        raise BadText(f"{data.kind!r} is no kind: there are {', '.join(Kind.values)}")


def _check_pack(data: ItemData) -> None:
    if data.pack is not None:
        positive(data.pack)


def _check_life(data: ItemData) -> None:
    if data.life_months is not None and data.life_months < 1:
        raise BadQuantity(f"a life of {data.life_months} months is none: leave it out where it isn't known")


def _check_extension(data: ItemData) -> None:
    if data.extend_part is not None and not 0 < data.extend_part <= 1:
        raise BadQuantity(f"a passed test adds a part of the original life, over 0 and at most 1, not {data.extend_part}: a half is 1/2")


_CHECKS: Mapping[str, Callable[[ItemData], object]] = {
    "code": lambda data: _checked_key(data.code),
    "name": lambda data: filled("name", data.name, MOST_NAME),
    "kind": _check_kind,
    "unit": lambda data: units.check_unit(data.unit),
    "identifiers": _check_identifiers,
    "pack": _check_pack,
    "life_months": _check_life,
    "extend_part": _check_extension,
}


def _code_faults(by: Member, items: Sequence[ItemData]) -> Iterator[Fault]:
    """Codes that mean another item, of the catalogue or earlier in the list; an item given twice."""
    keys = {calc.key(text) for data in items for _, text in _codes(data)}
    meant = {key: owner.item_code for key, owner in queries.owners(by.workshop_id, keys).items()}
    seen: set[str] = set()
    for index, data in enumerate(items):
        own = calc.key(data.code)
        if own in seen:
            yield Fault(index, "code", f"{data.code} stands twice: keep one")
        seen.add(own)
        for column, text in _codes(data):
            owner = meant.setdefault(calc.key(text), data.code)
            if calc.key(owner) != own:
                yield Fault(index, column, _taken(text, owner))


def _taken(text: str, owner: str) -> str:
    return f"{text} already means {owner}: a code means one item"


def _codes(data: ItemData) -> Iterator[tuple[str, str]]:
    yield "code", data.code
    yield from (("identifiers", text) for text in data.identifiers)


def _unit_faults(items: Sequence[ItemData], known: Mapping[str, Item]) -> Iterator[Fault]:
    found = ((index, data, known.get(calc.key(data.code))) for index, data in enumerate(items))
    changes = [(index, data, item) for index, data, item in found if item is not None and item.unit != data.unit.strip()]
    counted = queries.counted({item.pk for _, _, item in changes}) if changes else frozenset()
    for index, data, item in changes:
        if item.pk in counted:
            yield Fault(index, "unit", f"{item.code} is counted in {item.unit} already: its unit can't become {data.unit}")


def _save(items: Sequence[ItemData], known: Mapping[str, Item], by: Member, columns: frozenset[str]) -> Saved:
    rows, made, changed = [], [], []
    for data in items:
        item = known.get(calc.key(data.code))
        if item is None:
            item = Item(workshop_id=by.workshop_id, code=data.code.strip())
            _apply(item, data, ALWAYS | OPTIONAL)
            made.append(item)
        elif _apply(item, data, columns):
            changed.append(item)
        rows.append(item)
    if made:
        bulk_create_with_history(made, Item, batch_size=BATCH, default_user=by)
    if changed:
        bulk_update_with_history(changed, Item, sorted(columns), batch_size=BATCH, default_user=by)
    return Saved(tuple(rows), len(made), len(changed))


def _apply(item: Item, data: ItemData, columns: frozenset[str]) -> bool:
    """Set what differs; whether anything did."""
    stated = {column: getattr(data, column) for column in columns}
    values = {column: value.strip() if isinstance(value, str) else value for column, value in stated.items()}
    differing = {column: value for column, value in values.items() if getattr(item, column) != value}
    for column, value in differing.items():
        setattr(item, column, value)
    return bool(differing)


def _add_codes(pairs: Iterator[tuple[Item, ItemData]], by: Member) -> int:
    wanted: dict[str, Identifier] = {}
    for item, data in pairs:
        for _, text in _codes(data):
            key = calc.key(text)
            wanted.setdefault(key, Identifier(workshop_id=by.workshop_id, item=item, text=text.strip(), key=key))
    for key in queries.owners(by.workshop_id, wanted):
        del wanted[key]
    if wanted:
        bulk_create_with_history(list(wanted.values()), Identifier, batch_size=BATCH, default_user=by)
    return len(wanted)

"""The only writer of items and their codes."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, fields
from decimal import Decimal
from fractions import Fraction

from django.db import transaction
from simple_history.utils import bulk_create_with_history, bulk_update_with_history

from inventory.catalogue import calc, queries, units
from inventory.catalogue.models import Identifier, Item, Kind
from inventory.common.history import changed_by
from inventory.common.problems import Problem
from inventory.common.quantities import BadQuantity, positive
from inventory.common.rows import find_or_make
from inventory.common.texts import BadText, filled
from inventory.workshop import policy
from inventory.workshop.models import Member, Workshop

MOST_CODE = 80
BATCH = 500


@dataclass(frozen=True, slots=True)
class ItemDraft:
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
    diameter: Fraction | None = None
    gravity: Decimal | None = None
    base: Decimal | None = None
    accelerator: Decimal | None = None


COLUMNS = frozenset(field.name for field in fields(ItemDraft)) - {"code", "identifiers"}


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with the draft at `index`, and in which column of it."""

    index: int
    column: str
    text: str


class BadItems(Problem):
    """Drafts that can't all be saved; `faults` holds each reason."""

    title = "These items can't be saved"

    def __init__(self, faults: Sequence[Fault]) -> None:
        """The sentence is all of the reasons."""
        super().__init__("; ".join(fault.text for fault in faults))
        self.faults = tuple(faults)


class CodeTaken(Problem):
    """A code means one thing only."""

    status = 409
    title = "This code means something else"


@dataclass(frozen=True, slots=True)
class Saved:
    """The items in the order of their drafts, and how many were made, changed, or equal already."""

    items: tuple[Item, ...]
    made: int
    changed: int
    same: int


@transaction.atomic
def save_items(*, workshop: Workshop, drafts: Sequence[ItemDraft], by: Member, columns: Collection[str] = COLUMNS) -> Saved:
    """Make the items that aren't there yet, and bring those that are to what the drafts say in `columns`.

    An item is known again by any spelling of its code, which it keeps. Codes are only added: one that was taught since stays.
    Refuses all of it by `BadItems`, with every fault of every draft, where a code means another item, a value makes no sense,
    or the unit would change of an item that something is counted in already. A fixed number of queries for each 500 drafts.
    """
    policy.own(by, workshop)
    policy.require(by, "keep_stock")
    Workshop.objects.select_for_update(no_key=True).get(pk=workshop.pk)  # nobody adds a code between the look and the save
    known = _known(workshop, drafts)
    if faults := faults_of(workshop, drafts, known):
        raise BadItems(faults)
    items, made, changed = _save(workshop, drafts, known, by, frozenset(columns) & COLUMNS)
    _add_codes(workshop, zip(items, drafts, strict=True), by)
    return Saved(tuple(items), made, changed, len(items) - made - changed)


@transaction.atomic
def add_identifier(*, item: Item, text: str, by: Member) -> Identifier:
    """Teach a further code of `item`; one that it has already is returned. Refuses a code that means another item."""
    policy.own(by, item)
    policy.require(by, "keep_stock")
    text = filled("code", text, MOST_CODE)
    key = filled("code", calc.key(text), MOST_CODE)

    def make() -> Identifier:
        row = changed_by(Identifier(workshop_id=item.workshop_id, item=item, text=text, key=key), by)
        row.save()
        return row

    row, _ = find_or_make(lambda: Identifier.objects.filter(key=key).select_related("item").first(), make)
    if row.item_id != item.pk:
        raise CodeTaken(f"{text} already means {row.item.code}: a code means one item")
    return row


def faults_of(workshop: Workshop, drafts: Sequence[ItemDraft], known: dict[str, Item] | None = None) -> list[Fault]:
    """Everything that is wrong with the drafts, in their order. A dry run asks this alone."""
    known = _known(workshop, drafts) if known is None else known
    found = [*_value_faults(drafts), *_code_faults(workshop, drafts), *_unit_faults(drafts, known)]
    return sorted(found, key=lambda fault: fault.index)


def _known(workshop: Workshop, drafts: Sequence[ItemDraft]) -> dict[str, Item]:
    """The items that are there, by the key of their own code."""
    owners = queries.owners(workshop, {calc.key(draft.code) for draft in drafts})
    found: dict[str, Item] = {}
    for batch in queries.batches({owner.item_id for owner in owners.values()}):
        found.update((calc.key(item.code), item) for item in Item.objects.filter(pk__in=batch))
    return found


def _value_faults(drafts: Sequence[ItemDraft]) -> Iterator[Fault]:
    for index, draft in enumerate(drafts):
        for column, check in _CHECKS.items():
            try:
                check(draft)
            except Problem as problem:
                yield Fault(index, column, str(problem))


def _check_code(draft: ItemDraft) -> None:
    filled("code", draft.code, MOST_CODE)
    filled("code", calc.key(draft.code), MOST_CODE)


def _check_identifiers(draft: ItemDraft) -> None:
    for text in draft.identifiers:
        filled("code", text, MOST_CODE)
        filled("code", calc.key(text), MOST_CODE)


def _check_kind(draft: ItemDraft) -> None:
    if draft.kind not in Kind.values:
        raise BadText(f"{draft.kind!r} is no kind: there are {', '.join(Kind.values)}")


def _check_pack(draft: ItemDraft) -> None:
    if draft.pack is not None:
        positive(draft.pack)


def _check_life(draft: ItemDraft) -> None:
    if draft.life_months is not None and draft.life_months < 1:
        raise BadQuantity(f"a life of {draft.life_months} months is none: leave it out where it isn't known")


_CHECKS = {
    "code": _check_code,
    "name": lambda draft: filled("name", draft.name, 200),
    "kind": _check_kind,
    "unit": lambda draft: units.check_unit(draft.unit),
    "identifiers": _check_identifiers,
    "pack": _check_pack,
    "life_months": _check_life,
}


def _code_faults(workshop: Workshop, drafts: Sequence[ItemDraft]) -> Iterator[Fault]:
    """Codes that mean another item, of the catalogue or earlier among the drafts; an item drafted twice."""
    taken = {key: owner.item_code for key, owner in queries.owners(workshop, _keys(drafts)).items()}
    drafted: set[str] = set()
    for index, draft in enumerate(drafts):
        own = calc.key(draft.code)
        if own in drafted:
            yield Fault(index, "code", f"{draft.code} stands twice: keep one")
        drafted.add(own)
        for column, text in _codes(draft):
            meant = taken.setdefault(calc.key(text), draft.code)
            if calc.key(meant) != own:
                yield Fault(index, column, f"{text} already means {meant}: a code means one item")


def _codes(draft: ItemDraft) -> Iterator[tuple[str, str]]:
    yield "code", draft.code
    yield from (("identifiers", text) for text in draft.identifiers)


def _keys(drafts: Sequence[ItemDraft]) -> set[str]:
    return {calc.key(text) for draft in drafts for _, text in _codes(draft)}


def _unit_faults(drafts: Sequence[ItemDraft], known: dict[str, Item]) -> Iterator[Fault]:
    moved = {
        index: item
        for index, draft in enumerate(drafts)
        if (item := known.get(calc.key(draft.code))) is not None and item.unit != draft.unit.strip()
    }
    counted = queries.counted({item.pk for item in moved.values()}) if moved else frozenset()
    for index, item in moved.items():
        if item.pk in counted:
            text = f"{item.code} is counted in {item.unit} already: its unit can't become {drafts[index].unit}"
            yield Fault(index, "unit", text)


def _save(
    workshop: Workshop,
    drafts: Sequence[ItemDraft],
    known: dict[str, Item],
    by: Member,
    columns: frozenset[str],
) -> tuple[list[Item], int, int]:
    """The items in order, and how many were made and changed."""
    items, new, changed = [], [], []
    for draft in drafts:
        item = known.get(calc.key(draft.code))
        if item is None:
            item = Item(workshop=workshop, code=draft.code.strip())
            _apply(item, draft, COLUMNS)
            new.append(item)
        elif _apply(item, draft, columns):
            changed.append(item)
        items.append(item)
    bulk_create_with_history(new, Item, batch_size=BATCH, default_user=by)
    if changed:
        bulk_update_with_history(changed, Item, sorted(columns), batch_size=BATCH, default_user=by)
    return items, len(new), len(changed)


def _apply(item: Item, draft: ItemDraft, columns: frozenset[str]) -> bool:
    """Set what differs; whether anything did."""
    differs = False
    for column in columns:
        value = getattr(draft, column)
        value = value.strip() if isinstance(value, str) else value
        if getattr(item, column) != value:
            setattr(item, column, value)
            differs = True
    return differs


def _add_codes(workshop: Workshop, pairs: Iterator[tuple[Item, ItemDraft]], by: Member) -> None:
    wanted: dict[str, Identifier] = {}
    for item, draft in pairs:
        for _, text in _codes(draft):
            key = calc.key(text)
            wanted.setdefault(key, Identifier(workshop=workshop, item=item, text=text.strip(), key=key))
    for key in queries.owners(workshop, wanted):
        del wanted[key]
    bulk_create_with_history(list(wanted.values()), Identifier, batch_size=BATCH, default_user=by)

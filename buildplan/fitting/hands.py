"""Writing down which hand a part is, and which parts are a pair or only look like one."""

from django.db import transaction

from buildplan.fitting.models import SIDED, FalseMirror, ItemHand, MirrorPair
from buildplan.fitting.problems import HandTaken, NoPair
from buildplan.plan.models import Hand
from inventory.common.history import assign, changed_by
from inventory.common.texts import filled
from inventory.models import Item, Member
from inventory.workshop import policy

MOST_TOLD = 300
OTHER = {Hand.LEFT: Hand.RIGHT, Hand.RIGHT: Hand.LEFT}


@transaction.atomic
def state_hand(*, item: Item, hand: str, by: Member) -> ItemHand | None:
    """Say which hand an item is; a blank takes back what was said. An item with a partner keeps the hand that the pair gives it."""
    policy.require(by, "plan")
    hold_items(item, by=by)
    stated = ItemHand.objects.filter(item=item).first()
    if partner := _partner(item):
        if stated is not None and hand != stated.hand:
            text = f"{item.code} is the {stated.hand} one of a pair with {partner.code}: undo the pair first"
            raise HandTaken("hand", text)
        return stated
    if not hand:
        if stated is not None:
            changed_by(stated, by).delete()
        return None
    return _state(item, Hand(hand), by)


@transaction.atomic
def pair(*, left: Item, right: Item, by: Member) -> MirrorPair:
    """Link two items as each other's mirror image; said again it is the same pair. Their hands follow from it."""
    policy.require(by, "plan")
    hold_items(left, right, by=by)
    if left.pk == right.pk:
        raise NoPair("right", f"{left.code} can't be its own mirror image: name the other part")
    found = MirrorPair.objects.filter(left=left, right=right).first()
    if found is not None:
        return found
    for field, item in (("left", left), ("right", right)):
        if partner := _partner(item):
            raise NoPair(field, f"{item.code} is paired with {partner.code} already, and an item has one partner: undo that pair first")
    if FalseMirror.objects.filter(**_ordered(left, right)).exists():
        raise NoPair("right", f"{left.code} and {right.code} are noted as false mirrors: remove that note first")
    _refuse_hand("left", left, Hand.LEFT)
    _refuse_hand("right", right, Hand.RIGHT)
    _state(left, Hand.LEFT, by)
    _state(right, Hand.RIGHT, by)
    made = MirrorPair(workshop_id=left.workshop_id, left=left, right=right)
    changed_by(made, by).save()
    return made


@transaction.atomic
def undo_pair(*, pair: MirrorPair, by: Member) -> None:
    """Take a pair apart; each keeps the hand that was said of it."""
    policy.require(by, "plan")
    policy.own(by, pair)
    changed_by(pair, by).delete()


@transaction.atomic
def set_false_mirror(*, one: Item, other: Item, told_apart: str, by: Member) -> FalseMirror:
    """Note that two items look like a pair and are none, and what tells them apart; said again it replaces what was said."""
    policy.require(by, "plan")
    hold_items(one, other, by=by)
    if one.pk == other.pk:
        raise NoPair("other", f"{one.code} can't be mistaken for itself: name the other part")
    if MirrorPair.objects.filter(left__in=(one, other), right__in=(one, other)).exists():
        raise NoPair("other", f"{one.code} and {other.code} are linked as a true pair: undo that first")
    named = _ordered(one, other)
    row = FalseMirror.objects.filter(**named).first() or FalseMirror(workshop_id=one.workshop_id, **named)
    if assign(row, {"told_apart": filled("difference", told_apart, MOST_TOLD)}):
        changed_by(row, by).save()
    return row


@transaction.atomic
def remove_false_mirror(*, row: FalseMirror, by: Member) -> None:
    """Take the note back."""
    policy.require(by, "plan")
    policy.own(by, row)
    changed_by(row, by).delete()


def hold_items(*items: Item, by: Member) -> None:
    """Hold the items until all is written: of two that pair one item at once the later sees the pair."""
    policy.own(by, *items)
    list(Item.objects.select_for_update(no_key=True).filter(pk__in=[item.pk for item in items]).order_by("pk"))


def _partner(item: Item) -> Item | None:
    as_left = MirrorPair.objects.filter(left=item).select_related("right").first()
    if as_left is not None:
        return as_left.right
    as_right = MirrorPair.objects.filter(right=item).select_related("left").first()
    return None if as_right is None else as_right.left


def _refuse_hand(field: str, item: Item, hand: Hand) -> None:
    stated = ItemHand.objects.filter(item=item).values_list("hand", flat=True).first()
    if stated in SIDED and stated != hand:
        text = f"{item.code} is stated to be a {stated} part, and a pair takes one of each hand: look which of the two is wrong"
        raise NoPair(field, text)


def _state(item: Item, hand: Hand, by: Member) -> ItemHand:
    row = ItemHand.objects.filter(item=item).first() or ItemHand(workshop_id=item.workshop_id, item=item)
    if row.hand != hand:
        row.hand = hand
        changed_by(row, by).save()
    return row


def _ordered(one: Item, other: Item) -> dict[str, Item]:
    first, second = sorted((one, other), key=lambda item: item.pk)
    return {"one": first, "other": second}

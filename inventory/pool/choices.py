"""What the pages of the pool offer to choose from."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _

from inventory.catalogue.models import RETURNED, Item
from inventory.common.fields import plain
from inventory.pool import queries
from inventory.pool.models import Thing, Transfer
from inventory.stock.models import Holding, Lot, Place, State
from inventory.stock.services import named
from inventory.workshop import policy
from inventory.workshop.models import Bench, Member

MOST = 300  # rows of one list that a person chooses from
Choice = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Spot:
    """What one shelf holds of one lot. Fetched with its item, bench and place."""

    held: Holding

    @property
    def value(self) -> str:
        """As a form sends it."""
        return f"{self.held.lot_id}:{self.held.place_id}"

    @property
    def choice(self) -> Choice:
        """As a person chooses it: which, how much, where. What tells it apart comes first: a phone cuts the rest off."""
        lot, thing = self.held.lot, getattr(self.held.lot, "thing", None)
        which = f"{lot.item.code} {thing.serial if thing is not None and thing.serial else lot.code}".strip()
        there = {"quantity": plain(self.held.quantity), "unit": lot.item.unit, "place": self.held.place.path}
        return self.value, f"{which}: " + _("%(quantity)s %(unit)s in %(place)s") % there


def lendable(member: Member, *, item: Item | None = None, lot: Lot | None = None) -> list[Spot]:
    """What lies on the shelves and can be lent by `member`: clecos and tools of shared benches, and of those they speak for.

    One query; two where a bench is somebody's.
    """
    which = Q(lot__item__kind__in=RETURNED, lot__state=State.GOOD, lot__thing__retired_at=None)
    return _spots(member, which & _only(item, lot))


def givable(member: Member, *, item: Item | None = None) -> list[Spot]:
    """What lies on the shelves of the benches that `member` speaks for. One query; two where a bench is somebody's."""
    return _spots(member, Q(lot__state=State.GOOD) & _only(item, None))


def _only(item: Item | None, lot: Lot | None) -> Q:
    which = Q() if item is None else Q(lot__item=item)
    return which if lot is None else which & Q(lot=lot)


def _spots(member: Member, which: Q) -> list[Spot]:
    rows = Holding.objects.filter(which, quantity__gt=0, place__hands=None)
    rows = rows.select_related("lot__item", "lot__bench", "lot__thing", "place").order_by("lot__item__code", "place__key", "lot_id")
    return [Spot(held) for held in rows[:MOST] if policy.speaks_for(member, held.lot.bench)]


def spot_of(spots: Iterable[Spot], value: str) -> tuple[Lot, Place]:
    """The lot and the place of what was chosen."""
    found = next(spot.held for spot in spots if spot.value == value)
    return found.lot, found.place


def whats(items: Sequence[Item], things: Sequence[queries.ThingRow]) -> list[Choice]:
    """What can be booked: pieces of an item, whichever they are, or one single thing."""
    counted = [(f"item:{item.pk}", f"{item.code} {item.name}") for item in items]
    single = [(f"thing:{thing.id}", _("%(thing)s, this one") % {"thing": f"{thing.item} {thing.serial or thing.lot}"}) for thing in things]
    return sorted((*counted, *single), key=lambda choice: choice[1])


def members() -> list[Member]:
    """Who may borrow: everybody who is here. One query."""
    return list(Member.objects.filter(active=True).order_by("name", "pk"))


def benches() -> list[Bench]:
    """Every bench. One query."""
    return list(Bench.objects.order_by("name", "pk"))


def spoken_for(member: Member, rows: Iterable[Bench]) -> list[Bench]:
    """Those of these benches that a member speaks for."""
    return [bench for bench in rows if policy.speaks_for(member, bench)]


def new_things() -> list[Choice]:
    """Lots of one piece on shared benches, of a kind that comes back, that are no single thing yet. One query."""
    whole = Holding.objects.filter(lot=OuterRef("pk"), quantity=1)
    other = Holding.objects.filter(lot=OuterRef("pk"), quantity__gt=0).exclude(quantity=1)
    rows = Lot.objects.filter(Exists(whole), ~Exists(other), item__kind__in=RETURNED, bench__shared=True)
    known = Thing.objects.filter(lot=OuterRef("pk"))
    rows = rows.filter(~Exists(known)).annotate(place=F("holdings__place__path"), there=F("holdings__quantity")).filter(there=1)
    return [(str(lot.pk), f"{named(lot)}, {lot.place}") for lot in rows.select_related("item").order_by("item__code", "code", "pk")[:MOST]]


def transfer_rows() -> QuerySet[Transfer]:
    """Offers and wishes with all that is shown of them. One query."""
    return Transfer.objects.select_related("item", "lot__item", "lot__bench", "giver", "taker", "by", "ended_by")

"""Wing tips of the demo: a blank half cut, its second half planned two years ahead, a spoiled rib, and bars to try a cut on."""

from datetime import date, datetime, time
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from uuid import UUID, uuid5

from django.utils import timezone

from buildplan.cutting import services
from buildplan.cutting.models import Blank, Cut, Piece
from buildplan.cutting.services import Kept
from buildplan.loading.services import Request, load
from buildplan.loading.targets import Named
from inventory.common.problems import Problem
from inventory.models import Bench, Item, Lot, Member, Place
from inventory.stock import services as stock

NAMES = UUID("c0770000-5a17-4000-8000-000000000000")  # keys are made from it, so that making the demo again makes none
PROJECT, BENCH, BUILDER = "TIPS-1", "TERN", "Wren of Tern"
SHELF = "Tern bay/Rack C/Shelf 1"
STOCK = (("TIP.400", 1, "B-900"), ("TIP.410", 2, "A-310"))
CERTIFICATE = "invented certificate 3.1 no. 4471"
HALF = (Fraction(450), Fraction(600))


def make_cutting(folder: Path, *, today: date) -> None:
    """All of it. Made again it is the same."""
    bench = Bench.objects.select_related("workshop").get(code=BENCH)
    outcome = load(Request("plan", folder / "plan-tips", Named(workshop=bench.workshop.code, bench=BENCH, project=PROJECT)), today=today)
    if outcome.errors:
        raise Problem("\n".join(outcome.errors))
    keeper = Member.objects.filter(active=True, role="owner").order_by("pk")[0]
    builder = Member.objects.get(name=BUILDER)
    if not Lot.objects.filter(item__code=STOCK[0][0]).exists():
        _cut_half(_received(bench, keeper, today), keeper, builder, today)


def _received(bench: Bench, by: Member, today: date) -> dict[str, Lot]:
    place = stock.ensure_place(workshop=bench.workshop, path=SHELF, by=by)
    lots = {}
    for code, quantity, lot_code in STOCK:
        lots[code], _ = stock.find_or_make_lot(bench=bench, item=Item.objects.get(code=code), code=lot_code, by=by)
        stock.receive(lot=lots[code], quantity=Decimal(quantity), place=place, on=today, by=by, note="for the wing tips")
    return lots


def _cut_half(lots: dict[str, Lot], keeper: Member, builder: Member, today: date) -> None:
    """Two of four ribs now; one of them is spoiled. The other half waits for the right tip."""
    blank = Blank.objects.select_related("item", "offcut").get(item__code="TIP.400")
    services.set_rules(workshop=keeper.workshop, unit="mm", kerf=Fraction(2), end_trim=Fraction(0), allowance=Fraction(0), by=keeper)
    pieces = {piece.code: piece for piece in Piece.objects.select_related("step__project__bench", "blank", "item")}
    lot, place = lots["TIP.400"], Place.objects.get(path=SHELF)
    services.measure(lot=lot, said=Kept(Fraction(900), Fraction(600)), certificate=CERTIFICATE, by=builder)
    now, later = {pieces["TIP-RIB-L"]: 2}, {pieces["TIP-RIB-R"]: 2}
    cut = services.plan_cut(blank=blank, lot=lot, now=now, later=later, key=uuid5(NAMES, "half"), by=builder)
    kept = [Kept(*HALF)]
    sawn_at = timezone.make_aware(datetime.combine(today, time(10)))
    services.saw_cut(cut=cut, source=place, target=place, kept=kept, on=today, now=sawn_at, by=builder)
    line = Cut.objects.get(pk=cut.pk).pieces.get(later=False)
    cause = "flanged the wrong way round"
    services.spoil_pieces(line=line, count=1, cause=cause, on=today, key=uuid5(NAMES, "spoiled"), by=builder)
    rib = pieces["TIP-RIB-L"]
    services.save_operation(piece=rib, name="flute", hand="left", count=2, by=builder)

"""What the benches and the pool have of things that come back, and what is lent or promised of it: a fixed number of SQL queries."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from buildplan.club.calc import Grant, Piece, Supply
from buildplan.plan.calc import STEP_REF
from buildplan.plan.models import Step
from inventory.models import Bench, BenchHolder, Booking, Holding, Loan
from inventory.pool import queries as pool
from inventory.pool.calc import LENT
from inventory.shelflife.calc import of_columns
from inventory.stock.calc import days_to_keep, life
from inventory.stock.models import State
from inventory.stock.queries import LIVED, SAYS, rule


@dataclass(frozen=True, slots=True)
class BenchRow:
    """A bench, with the members who hold it."""

    id: int
    code: str
    name: str
    shared: bool
    holders: tuple[tuple[int, str], ...] = ()


def benches() -> dict[int, BenchRow]:
    """Every bench by its id, with who holds it. Two queries."""
    holders: dict[int, list[tuple[int, str]]] = defaultdict(list)
    held = BenchHolder.objects.order_by("member__name", "member_id")
    for bench, member, name in held.values_list("bench_id", "member_id", "member__name"):
        holders[bench].append((member, name))
    rows = Bench.objects.order_by("code").values_list("id", "code", "name", "shared")
    return {pk: BenchRow(pk, code, name, shared, tuple(holders[pk])) for pk, code, name, shared in rows}


def supply(items: Collection[int], known: Mapping[int, BenchRow], *, today: date) -> Supply:
    """What the benches and the pool have of some items, and what is lent or promised of it. Seven queries."""
    pieces: dict[int, list[Piece]] = defaultdict(list)
    for piece in _own(items):
        pieces[piece.item].append(piece)
    given: dict[int, list[Grant]] = defaultdict(list)
    whose = _whose(items, known, today)
    for item, pots in pool.pots(items, today=today).items():
        pieces[item].extend(Piece(item, None, pot.there) for pot in pots)
        for span in (span for pot in pots for span in pot.spans):
            bench, step = whose[span.what == LENT, span.id]
            last = span.last or date.max
            given[item].append(Grant(item, span.quantity, bench, None, step, span.first, last, span.what == LENT, span.who))
    for grant in _lent_by_benches(items, known, today):
        given[grant.item].append(grant)
    return Supply(pieces, given)


def _own(items: Collection[int]) -> Iterable[Piece]:
    """What benches have of their own: good, and alive until which day. One query."""
    dates = ("made_on", "made_as", "expires_on", "expires_as", *LIVED)
    columns = ("lot__item_id", "lot__bench_id", "quantity", "lot__item__kind", *(f"lot__item__{name}" for name in SAYS))
    held = Holding.objects.filter(lot__item__in=items, lot__bench__shared=False, lot__state=State.GOOD, quantity__gt=0)
    for row in held.values_list(*columns, *(f"lot__{name}" for name in dates)):
        item, bench, quantity, kind, *rest = row
        says = rule(kind, *rest[: len(SAYS)])
        made_on, made_as, expires_on, expires_as, *lived = rest[len(SAYS) :]
        found = life(says, of_columns(made_on, made_as), of_columns(expires_on, expires_as), *lived)
        if found.known and found.limit is None:
            yield Piece(item, bench, quantity)
        elif found.known and found.limit is not None:
            keeps = days_to_keep(found.limit, says.min_life_days)
            yield Piece(item, bench, quantity, found.limit.last_day - timedelta(days=keeps))


def _whose(items: Collection[int], known: Mapping[int, BenchRow], today: date) -> dict[tuple[bool, int], tuple[int | None, int | None]]:
    """For which bench and step each loan and booking of the pool is: as it says, else the one bench that its member holds.

    Three queries.
    """
    out = Loan.objects.filter(lot__item__in=items, lot__bench__shared=True, open__gt=0)
    held = Booking.objects.filter(item__in=items, ended_at=None, waiting=False, last_day__gte=today)
    rows = [(True, *row) for row in out.values_list("id", "bench_id", "member_id", "ref")]
    rows += [(False, *row) for row in held.values_list("id", "bench_id", "member_id", "ref")]
    return _attributed(known, rows)


def _attributed(
    known: Mapping[int, BenchRow], rows: Sequence[tuple[bool, int, int | None, int, str]]
) -> dict[tuple[bool, int], tuple[int | None, int | None]]:
    steps = {int(ref.removeprefix(STEP_REF)) for *_, ref in rows if ref.startswith(STEP_REF) and ref.removeprefix(STEP_REF).isdigit()}
    bench_of_step = dict(Step.objects.filter(pk__in=steps).values_list("pk", "project__bench_id"))
    only = _only_bench(known)
    found = {}
    for lent, pk, bench, member, ref in rows:
        number = ref.removeprefix(STEP_REF)
        step = int(number) if ref.startswith(STEP_REF) and number.isdigit() else None
        found[lent, pk] = bench or bench_of_step.get(step or 0) or only.get(member), step
    return found


def _only_bench(known: Mapping[int, BenchRow]) -> dict[int, int]:
    """The bench of who holds just one."""
    held: dict[int, list[int]] = defaultdict(list)
    for bench in known.values():
        for member, _ in bench.holders:
            held[member].append(bench.id)
    return {member: benches[0] for member, benches in held.items() if len(benches) == 1}


def _lent_by_benches(items: Collection[int], known: Mapping[int, BenchRow], today: date) -> Iterable[Grant]:
    """What benches lent of their own. Two queries."""
    columns = ("lot__item_id", "lot__bench_id", "id", "open", "out_on", "due_on", "member__name", "bench_id", "member_id", "ref")
    out = Loan.objects.filter(lot__item__in=items, lot__bench__shared=False, lot__state=State.GOOD, open__gt=0)
    rows = list(out.order_by("id").values_list(*columns))
    whose = _attributed(known, [(True, row[2], row[7], row[8], row[9]) for row in rows])
    for item, giver, pk, quantity, first, due, who, *_ in rows:
        bench, step = whose[True, pk]
        last = due if due is not None and due >= today else date.max
        yield Grant(item, quantity, bench, giver, step, first, last, lent=True, who=who)

"""What was used of the club's shared material in a period, by project and by member: reads with a fixed number of queries."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from buildplan.club import sharing
from buildplan.club.sharing import EVENLY, Line, MemberShare, Price, ProjectShare, Use
from buildplan.club.supply import BenchRow, benches
from buildplan.plan.models import Finish, Project
from buildplan.sealing.models import MixShare
from inventory.catalogue.models import RETURNED
from inventory.common.problems import FieldProblem, NotHere
from inventory.common.reasons import Reason
from inventory.models import Bench, Item, Lot, Member, Movement, UnitCost, Workshop
from inventory.pool.queries import rules
from inventory.stock.models import End

FINISH, MIX = "finish:", "mix:"


@dataclass(frozen=True, slots=True)
class Material:
    """A shared material."""

    id: int
    code: str
    name: str
    unit: str


@dataclass(frozen=True, slots=True)
class LineRow:
    """What a project used of a material."""

    material: Material
    line: Line


@dataclass(frozen=True, slots=True)
class ProjectRow:
    """What a project used and what it costs. `code` is blank for what no project is known for; that is nobody's share."""

    code: str
    name: str
    bench: BenchRow | None
    cents: int
    lines: tuple[LineRow, ...]

    @property
    def unpriced(self) -> bool:
        """Some of it has no cost."""
        return any(not row.line.priced for row in self.lines)


@dataclass(frozen=True, slots=True)
class MemberRow:
    """What a member owes of a bench's cost, shared with so many."""

    member_id: int
    member: str
    bench: BenchRow
    cents: int
    among: int


@dataclass(frozen=True, slots=True)
class Statement:
    """A period's use of shared material. The projects' cents add to `cents`; the members' to those of the benches that have holders.

    `member` and `bench` say whom it is about, where it isn't about all.
    """

    first: date
    last: date
    currency: str
    cents: int
    projects: tuple[ProjectRow, ...]
    members: tuple[MemberRow, ...]
    bench: BenchRow | None = None
    member: str = ""

    @property
    def of_members(self) -> int:
        """What the members shown owe together."""
        return sum(row.cents for row in self.members)

    @property
    def trace(self) -> tuple[Reason, ...]:
        """How it was reckoned."""
        used = "lots of shared benches that finished steps and mixed batches took in this period; what was taken back doesn't count"
        whole = "what no project is known for is shown, and is nobody's share"
        return (Reason(used, "the ledger"), Reason(whole, "the ledger"), Reason(EVENLY, "benches and their holders as they are now"))


def statement(*, first: date, last: date, workshop: Workshop, bench: int | None = None, member: int | None = None) -> Statement:
    """What was used of shared material from a day through another, for all, for one bench, or for one member. Nine queries."""
    if last < first:
        raise FieldProblem("last", f"{last} is before {first}: give the first day before the last")
    known, projects = benches(), _projects()
    materials, uses = _uses(first, last)
    shares = sharing.of_projects(uses, _prices(), [*projects, None])
    rows = tuple(_project_row(share, projects, known, materials) for share in shares)
    cents: dict[int, int] = defaultdict(int)
    for row in rows:
        if row.bench is not None:
            cents[row.bench.id] += row.cents
    holders = {one.id: [pk for pk, _ in one.holders] for one in known.values()}
    members = tuple(_member_row(share, known) for share in sharing.of_members(cents, holders))
    found = Statement(first, last, rules(workshop).currency, sum(row.cents for row in rows), rows, members)
    return _only(found, known, bench, member)


def bench_id(code: str | None) -> int | None:
    """The id of a bench by its code, any case; None for none. One query."""
    if code is None:
        return None
    pk = Bench.objects.filter(code__iexact=code).values_list("pk", flat=True).first()
    if pk is None:
        raise NotHere(f"there is no bench {code} here")
    return pk


def holder_id(member: int | None) -> int | None:
    """A member's id where they are of this workshop; None for none. One query."""
    if member is not None and not Member.objects.filter(pk=member).exists():
        raise NotHere(f"there is no member {member} here")
    return member


def _only(found: Statement, known: Mapping[int, BenchRow], bench: int | None, member: int | None) -> Statement:
    """The part that is about one bench or one member. Figures stay what they are in the whole."""
    if bench is None and member is None:
        return found
    members = tuple(row for row in found.members if member in {None, row.member_id} and bench in {None, row.bench.id})
    theirs = {row.bench.id for row in members} if member is not None else {bench}
    projects = tuple(row for row in found.projects if row.bench is not None and row.bench.id in theirs)
    name = next((name for one in known.values() for pk, name in one.holders if pk == member), "")
    one = known.get(bench) if bench is not None else None
    return Statement(found.first, found.last, found.currency, sum(row.cents for row in projects), projects, members, one, name)


def _projects() -> dict[int, tuple[str, str, int]]:
    rows = Project.objects.order_by("code").values_list("id", "code", "name", "bench_id")
    return {pk: (code, name, bench) for pk, code, name, bench in rows}


def _uses(first: date, last: date) -> tuple[dict[int, Material], list[Use]]:
    """What was used of shared lots, with the project that it was for. Three queries."""
    taken = Movement.objects.filter(
        target__end=End.USED, lot__bench__shared=True, on__gte=first, on__lte=last, reverses=None, reversed_by=None
    ).exclude(lot__item__kind__in=RETURNED)
    columns = ("ref", "quantity", "on", "lot__item_id", "lot__item__code", "lot__item__name", "lot__item__unit")
    rows = list(taken.order_by("id").values_list(*columns))
    refs = {row[0] for row in rows}
    finished = dict(Finish.objects.filter(pk__in=_ids(refs, FINISH)).values_list("pk", "step__project_id"))
    mixed: dict[int, list[tuple[int, Decimal]]] = defaultdict(list)
    shares = MixShare.objects.filter(mix__in=_ids(refs, MIX)).order_by("id")
    for mix, project, grams in shares.values_list("mix_id", "step__project_id", "grams"):
        mixed[mix].append((project, grams))
    materials = {row[3]: Material(*row[3:]) for row in rows}
    return materials, [use for row in rows for use in _use(row, finished, mixed)]


def _use(row: Sequence[Any], finished: Mapping[int, int], mixed: Mapping[int, Sequence[tuple[int, Decimal]]]) -> Iterator[Use]:
    ref, quantity, on, item = row[:4]
    what, number = _named(ref)
    if what == MIX and (shares := mixed.get(number)):
        parts = sharing.portions(quantity, [grams for _, grams in shares])
        yield from (Use(project, item, part, on) for (project, _), part in zip(shares, parts, strict=True))
    else:
        yield Use(finished.get(number) if what == FINISH else None, item, quantity, on)


def _named(ref: str) -> tuple[str, int]:
    """What a reference names: a finish or a batch, by its number; else nothing."""
    for what in (FINISH, MIX):
        number = ref.removeprefix(what)
        if ref.startswith(what) and number.isascii() and number.isdigit():
            return what, int(number)
    return "", 0


def _ids(refs: Iterable[str], wanted: str) -> list[int]:
    return [number for what, number in map(_named, refs) if what == wanted]


def _prices() -> dict[int, list[Price]]:
    found: dict[int, list[Price]] = defaultdict(list)
    for item, since, amount in UnitCost.objects.order_by("since").values_list("item_id", "since", "amount"):
        found[item].append(Price(since, amount))
    return found


def _project_row(
    share: ProjectShare, projects: Mapping[int, tuple[str, str, int]], known: Mapping[int, BenchRow], materials: Mapping[int, Material]
) -> ProjectRow:
    code, name, bench = ("", "", None) if share.project is None else projects[share.project]
    lines = sorted((LineRow(materials[line.item], line) for line in share.lines), key=lambda row: row.material.code)
    return ProjectRow(code, name, None if bench is None else known[bench], share.cents, tuple(lines))


def _member_row(share: MemberShare, known: Mapping[int, BenchRow]) -> MemberRow:
    bench = known[share.bench]
    return MemberRow(share.member, dict(bench.holders)[share.member], bench, share.cents, len(bench.holders))


# Unit costs


@dataclass(frozen=True, slots=True)
class CostRow:
    """A shared material and what a stock unit of it costs, the latest first; `now` is what holds today."""

    material: Material
    now: Price | None
    prices: tuple[tuple[int, Price], ...]


def costs(*, today: date) -> list[CostRow]:
    """Every material that shared benches have, had, or that has a cost, by code. Two queries."""
    kept: dict[int, list[tuple[int, Price]]] = defaultdict(list)
    for pk, item, since, amount in UnitCost.objects.order_by("-since").values_list("id", "item_id", "since", "amount"):
        kept[item].append((pk, Price(since, amount)))
    return [CostRow(one, sharing.price_on([price for _, price in kept[one.id]], today), tuple(kept[one.id])) for one in materials()]


def materials() -> list[Material]:
    """What shared benches have or had and doesn't come back, by code. One query."""
    shared = Lot.objects.filter(bench__in=Bench.objects.filter(shared=True)).values("item")
    rows = Item.objects.filter(pk__in=shared).exclude(kind__in=RETURNED).order_by("code")
    return [Material(*row) for row in rows.values_list("id", "code", "name", "unit")]

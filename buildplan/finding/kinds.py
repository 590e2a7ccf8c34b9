"""Each kind of thing that a search looks through: where its words stand, and what is told of it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import Case, Count, Exists, F, IntegerField, OuterRef, Q, QuerySet, Sum, Value, When
from django.db.models.functions import Concat
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from buildplan.finding.shapes import Hit, To
from buildplan.fitting.models import Assembly, Conflict, Settlement
from buildplan.plan.models import Project, Step
from buildplan.sealday.models import SealDay
from buildplan.trace.models import Notice
from inventory.common.fields import plain
from inventory.common.filters import day
from inventory.models import Bag, Bench, Crate, Holding, Identifier, Item, Lot, Member, PackingLine, Place, Thing
from inventory.stock.models import End, State
from inventory.stock.queries import life_of

MOST = 10  # of a group
MOST_PLACES = 2  # named of one thing

Rows = QuerySet[Any, Any]
Lies = Mapping[int, Sequence[tuple[str, Decimal]]]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind. `rows` are all of it; `codes` are looked through as they are, `names` whatever their accents.

    `same` are the columns of which one is the whole text where a hit is exact; `near` those in which near misses are looked for.
    `lies` says where each of some rows lies, in at most two queries; `hit` tells of a row.
    """

    name: str
    rows: Callable[[], Rows]
    codes: tuple[str, ...]
    names: tuple[str, ...]
    same: tuple[str, ...]
    near: tuple[str, ...]
    order: tuple[str, ...]
    hit: Callable[[Any, Lies], Hit]
    lies: Callable[[Sequence[int]], Lies] | None = None
    every: Callable[[str], To] | None = None


# Items


def _items() -> Rows:
    return Item.objects.all()


def _lies_item(ids: Sequence[int]) -> Lies:
    """On the shelves, and in bags of crates that are here and aren't counted yet. Two queries."""
    found = {pk: list(lies) for pk, lies in _lies(Holding.objects.filter(lot__item__in=ids), "lot__item_id").items()}
    here = PackingLine.objects.filter(item__in=ids, open_quantity__gt=0, crate__arrived_on__isnull=False, crate__closed_on__isnull=True)
    for line in here.select_related("crate", "bag__place").order_by("crate__code", F("bag__path").asc(nulls_first=True), "number"):
        found.setdefault(line.item_id, []).append((_not_counted(line), line.open_quantity))
    return found


def _not_counted(line: PackingLine) -> str:
    bag = _("bag %(bag)s of %(crate)s") if line.bag else _("crate %(crate)s, in no bag")
    bag %= {"bag": line.bag.path if line.bag else "", "crate": line.crate.code}
    if line.bag and line.bag.place:
        return _("%(bag)s in %(place)s, not counted yet") % {"bag": bag, "place": line.bag.place.path}
    return _("%(bag)s, not counted yet") % {"bag": bag}


def _item(row: Item, lies: Lies) -> Hit:
    to = To("code", (), (("code", row.code),))
    return Hit("item", row.pk, row.code, row.name, row.get_kind_display(), _where(lies.get(row.pk, ()), row.unit), _timed(row), to)


def _timed(row: Item) -> str:
    life = _("lives %(months)s months") % {"months": row.life_months} if row.life_months else ""
    packed = _("in packs of %(pack)s %(unit)s") if row.pack else _("counted in %(unit)s")
    pack = packed % {"pack": plain(row.pack) if row.pack else "", "unit": row.unit}
    return f"{pack}, {life}" if life else pack


# Lots


def _lots() -> Rows:
    held = Holding.objects.filter(quantity__gt=0).values("lot")  # asked once: an EXISTS is asked for each lot
    here = Case(When(pk__in=held, then=Value(1)), default=Value(0), output_field=IntegerField())
    return Lot.objects.exclude(code="").annotate(here=here).select_related("item", "bench")


def _lies_lot(ids: Sequence[int]) -> Lies:
    return _lies(Holding.objects.filter(lot__in=ids), "lot_id")


def _lot(row: Lot, lies: Lies) -> Hit:
    where = _where(lies.get(row.pk, ()), row.item.unit)
    what = _("lot of %(item)s") % {"item": row.item.code}
    line = f"{_life(row)}, {_bench(row.bench)}"
    return Hit("lot", row.pk, row.code, row.item.name, what, where, line, To("lot", (row.pk,)))


def _bench(bench: Bench) -> str:
    return _("bench %(bench)s") % {"bench": bench.name}


def _life(row: Lot) -> str:
    if row.state != State.GOOD:
        return row.get_state_display()
    life = life_of(row)
    if not life.known:
        return _("its life is unknown")
    if life.last_day is None:
        return _("no end of its life is known of")
    return _("last usable day %(day)s") % {"day": day(life.last_day)}


# What was sent


def _bags() -> Rows:
    whole = Concat(F("crate__code"), Value("/"), F("path"))
    return Bag.objects.annotate(whole=whole).select_related("crate", "place")


def _bag(row: Bag, lies: Lies) -> Hit:
    del lies
    where = _in(row.place.path) if row.place else _("in crate %(crate)s") % {"crate": row.crate.code}
    line = _("counted %(day)s") % {"day": day(row.counted_on)} if row.counted_on else _("not counted to the end")
    return Hit("bag", row.pk, f"{row.crate.code}/{row.path}", "", _("bag"), where, line, To("count-bag", (row.pk,)))


def _crates() -> Rows:
    return Crate.objects.select_related("bench", "sender")


def _crate(row: Crate, lies: Lies) -> Hit:
    del lies
    order = _("order %(order)s") % {"order": row.order_code} if row.order_code else ""
    parts = [row.sender.name if row.sender else "", order, _("for %(bench)s") % {"bench": row.bench.name}]
    line = ", ".join(part for part in parts if part)
    return Hit("crate", row.pk, row.code, "", _("crate"), _came(row), line, To("crate", (row.pk,)))


def _came(row: Crate) -> str:
    if row.closed_on:
        return _("closed %(day)s") % {"day": day(row.closed_on)}
    if row.arrived_on:
        return _("arrived %(day)s") % {"day": day(row.arrived_on)}
    return _("on its way, due %(day)s") % {"day": day(row.due_on)} if row.due_on else _("on its way, no due day")


# Places


def _places() -> Rows:
    held = Q(holdings__quantity__gt=0)
    return Place.objects.filter(end=End.STORAGE).annotate(lots=Count("holdings", filter=held))


def _place(row: Place, lies: Lies) -> Hit:
    del lies
    inside = row.path.rpartition("/")[0]
    return Hit("place", row.pk, row.path, "", _("place"), _in(inside) if inside else "", _lots_here(row), _shelf(row.path))


def _lots_here(row: Place) -> str:
    count: int = row.lots  # type: ignore[attr-defined] # annotated
    return ngettext("%(count)s lot lies here", "%(count)s lots lie here", count) % {"count": count} if count else _("no lots lie here")


def _shelf(path: str) -> To:
    return To("shelves", (), (("place", path),))


# The plan


def _steps() -> Rows:
    whole = Concat(F("project__code"), Value(" "), F("code"))
    return Step.objects.annotate(whole=whole).select_related("project", "section")


def _step(row: Step, lies: Lies) -> Hit:
    del lies
    to = To("step", (row.project.code, row.code))
    what = _("step of %(project)s") % {"project": row.project.name}
    return Hit("step", row.pk, row.code, row.title, what, row.section.name, _planned(row), to)


def _planned(row: Step) -> str:
    if row.done:
        return _("done %(day)s") % {"day": day(row.done_on)} if row.done_on else _("done")
    return _("planned %(day)s") % {"day": day(row.planned_on)} if row.planned_on else _("no day yet")


def _projects() -> Rows:
    return Project.objects.annotate(left=Count("steps", filter=Q(steps__done=False))).select_related("bench")


def _project(row: Project, lies: Lies) -> Hit:
    del lies
    left: int = row.left  # type: ignore[attr-defined] # annotated
    line = ngettext("%(count)s step to do", "%(count)s steps to do", left) % {"count": left} if left else _("all steps done")
    return Hit("project", row.pk, row.code, row.name, _("project"), _bench(row.bench), line, To("plan", (row.code,)))


# What is drilled together, what is in dispute, what makers say


def _assemblies() -> Rows:
    return Assembly.objects.annotate(count=Count("positions")).select_related("project")


def _assembly(row: Assembly, lies: Lies) -> Hit:
    del lies
    count: int = row.count  # type: ignore[attr-defined] # annotated
    positions = ngettext("%(count)s position", "%(count)s positions", count) % {"count": count}
    what = _("assembly of %(project)s") % {"project": row.project.name}
    return Hit("assembly", row.pk, row.name, "", what, "", positions, To("assembly", (row.pk,)))


def _conflicts() -> Rows:
    standing = Settlement.objects.filter(conflict=OuterRef("pk"), reopened_at=None)
    return Conflict.objects.annotate(settled=Exists(standing)).select_related("project")


def _conflict(row: Conflict, lies: Lies) -> Hit:
    del lies
    state = _("settled") if row.settled else _("open")  # type: ignore[attr-defined] # annotated
    what = _("conflict of %(project)s") % {"project": row.project.name}
    return Hit("conflict", row.pk, row.title, "", what, "", state, To("conflict", (row.pk,)))


def _notices() -> Rows:
    return Notice.objects.all()


def _notice(row: Notice, lies: Lies) -> Hit:
    del lies
    line = ", ".join(part for part in (row.maker, _("issued %(day)s") % {"day": day(row.issued_on)}) if part)
    return Hit("notice", row.pk, row.reference, row.title, _("maker's notice"), "", line, To("notice", (row.pk,)))


# People, the pool, seal days


def _members() -> Rows:
    return Member.objects.exclude(user=None)


def _member(row: Member, lies: Lies) -> Hit:
    del lies
    line = "" if row.active else pgettext("member", "left")
    return Hit("member", row.pk, row.name, "", row.get_role_display(), "", line, To("member", (row.pk,)))


def _things() -> Rows:
    return Thing.objects.select_related("lot__item").filter(retired_at=None)


def _lies_thing(ids: Sequence[int]) -> Lies:
    return _lies(Holding.objects.filter(lot__thing__in=ids), "lot__thing")


def _thing(row: Thing, lies: Lies) -> Hit:
    item = row.lot.item
    until = _("calibrated until %(day)s") % {"day": day(row.calibrated_until)} if row.calibrated_until else ""
    line = ", ".join(part for part in (row.condition, until) if part)
    return Hit("thing", row.pk, row.serial, item.name, item.code, _where(lies.get(row.pk, ()), ""), line, To("thing", (row.pk,)))


def _seal_days() -> Rows:
    return SealDay.objects.annotate(count=Count("steps")).select_related("bench")


def _seal_day(row: SealDay, lies: Lies) -> Hit:
    del lies
    count: int = row.count  # type: ignore[attr-defined] # annotated
    steps = ngettext("%(count)s step", "%(count)s steps", count) % {"count": count}
    state = _("called off") if row.called_off_at else _("closed") if row.closed_at else _("planned")
    return Hit("seal_day", row.pk, day(row.on), "", _("seal day"), _bench(row.bench), f"{steps}, {state}", To("seal-day", (row.pk,)))


def _lies(rows: "QuerySet[Holding, Holding]", by: str) -> Lies:
    """How much lies in which place, the most first, by the id of what it is of. One query."""
    found: dict[int, list[tuple[str, Decimal]]] = {}
    summed = rows.filter(quantity__gt=0).values(by, "place__path").annotate(total=Sum("quantity")).order_by("-total", "place__path")
    for pk, path, total in summed.values_list(by, "place__path", "total"):
        found.setdefault(pk, []).append((path, total))
    return found


def _where(lies: Sequence[tuple[str, Decimal]], unit: str) -> str:
    if not lies:
        return _("none of it here")
    named = ", ".join(f"{plain(total)} {unit} {_in(path)}" if unit else _in(path) for path, total in lies[:MOST_PLACES])
    more = len(lies) - MOST_PLACES
    told = {"places": named, "count": more}
    return ngettext("%(places)s and %(count)s more place", "%(places)s and %(count)s more places", more) % told if more > 0 else named


def _in(place: str) -> str:
    return _("in %(place)s") % {"place": place}


def _by_text(text: str) -> To:
    return To("shelves", (), (("text", text),))


KINDS: tuple[Kind, ...] = (
    Kind(
        "item",
        _items,
        ("code",),
        ("name",),
        ("code", "name"),
        ("code", "name", "identifiers__text"),
        ("code",),
        _item,
        _lies_item,
        _by_text,
    ),
    Kind("lot", _lots, ("code",), (), ("code",), ("code",), ("-here", "code", "expires_on"), _lot, _lies_lot, _by_text),
    Kind("bag", _bags, ("whole",), (), ("whole", "path"), ("whole",), ("crate__code", "path"), _bag),
    Kind("crate", _crates, ("order_code",), ("code", "sender__name"), ("code", "order_code"), ("code",), ("code",), _crate),
    Kind("place", _places, (), ("path",), ("path", "name"), ("path", "name"), ("path",), _place, None, _shelf),
    Kind("step", _steps, (), ("whole", "title"), ("code", "whole", "title"), ("code", "title"), ("project__code", "position"), _step),
    Kind("project", _projects, (), ("code", "name"), ("code", "name"), ("code", "name"), ("code",), _project),
    Kind("assembly", _assemblies, (), ("name",), ("name",), ("name",), ("name",), _assembly),
    Kind("conflict", _conflicts, (), ("title",), ("title",), ("title",), ("title",), _conflict),
    Kind("notice", _notices, (), ("reference", "title"), ("reference",), ("reference", "title"), ("-issued_on", "reference"), _notice),
    Kind("member", _members, (), ("name",), ("name",), ("name",), ("-active", "name"), _member, None, lambda _: To("members")),
    Kind("thing", _things, ("serial",), ("lot__item__name",), ("serial",), ("serial",), ("serial",), _thing, _lies_thing),
)
SEAL_DAYS = Kind("seal_day", _seal_days, (), (), (), (), ("on", "pk"), _seal_day)


def identified(text: str) -> Q:
    """The items of which a code holds this, blanks dropped."""
    return Q(pk__in=Identifier.objects.filter(key__contains=text).values("item"))

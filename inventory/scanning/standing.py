"""What the scan page must know to tell labels apart without a network: places, bags that something is still to come of, lots."""

from dataclasses import dataclass

from django.db.models import Exists, OuterRef
from django.utils.translation import gettext as _

from inventory.labels.models import Label
from inventory.receiving.models import Bag, Crate, PackingLine
from inventory.stock.models import End, Holding, Place


@dataclass(frozen=True, slots=True)
class Standing:
    """A place or bag that may stand until another is chosen: `value` as a scan names it, `token` as its label says it, if it has one."""

    value: str
    text: str
    token: str | None = None


def places() -> tuple[Standing, ...]:
    """Every place where things lie, by path. One query."""
    rows = Place.objects.filter(end=End.STORAGE).order_by("key").values_list("path", "label__token")
    return tuple(Standing(path, path, token) for path, token in rows)


def bags() -> tuple[Standing, ...]:
    """The crates that aren't closed and have something to come, each followed by its bags. Two queries."""
    to_come = PackingLine.objects.filter(crate=OuterRef("pk"), open_quantity__gt=0)
    crates = Crate.objects.filter(Exists(to_come), closed_on=None).order_by("code", "pk").values_list("pk", "code")
    found = {pk: [Standing(code, _("%(crate)s, in no bag") % {"crate": code})] for pk, code in crates}
    for crate, code, path, token in _bags(list(found)):
        found[crate].append(Standing(f"{code}/{path}", f"{code}: {path}", token))
    return tuple(row for rows in found.values() for row in rows)


def _bags(crates: list[int]) -> list[tuple[int, str, str, str | None]]:
    rows = Bag.objects.filter(crate__in=crates).order_by("path", "pk")
    return list(rows.values_list("crate_id", "crate__code", "path", "label__token"))


def lots() -> tuple[str, ...]:
    """The labels of the lots on hand. One query."""
    on_hand = Exists(Holding.objects.filter(lot=OuterRef("lot"), quantity__gt=0))
    return tuple(Label.objects.filter(on_hand).order_by("token").values_list("token", flat=True))

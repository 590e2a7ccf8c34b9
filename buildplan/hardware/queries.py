"""Reads of rivets and what goes with them."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext, gettext_noop

from buildplan.hardware.calc import Rivet, RivetCodeError, call_out_question, cleco_every, parse_rivet
from buildplan.hardware.models import ClecoSpacing, RivetLoss, RivetRow, Stage, Substitution
from buildplan.plan.models import CallOut, Step
from inventory.catalogue.models import Kind
from inventory.common.problems import FieldProblem
from inventory.common.quantities import COUNT
from inventory.common.reasons import Reason
from inventory.models import Identifier, Item

RIVETS = frozenset({Kind.RIVET, Kind.FASTENER})  # what a row of holes takes
SPACED = {1: gettext_noop("every hole"), 2: gettext_noop("every other hole"), 3: gettext_noop("every third hole")}


def check_rivet(rivet: Item) -> None:
    """Refuse an item that no row can name as its rivet."""
    if rivet.kind not in RIVETS:
        raise FieldProblem("rivet", f"{rivet.code} is of kind {rivet.kind}: name a rivet")
    if rivet.unit != COUNT:
        raise FieldProblem("rivet", f"{rivet.code} is counted in {rivet.unit}, holes in ea: count it in ea in the catalogue")


def cleco_for(rivet: Item, clecos: Mapping[Fraction, Sequence[Item]]) -> Item:
    """The one cleco of the rivet's diameter among `clecos_by_diameter()`; refused where there is none, or more than one."""
    diameter = rivet_diameter(rivet)
    if diameter is None:
        text = f"the diameter of {rivet.code} is not known, so neither is its cleco: write it in the catalogue"
        raise FieldProblem("rivet", text)
    found = clecos.get(diameter, ())
    if len(found) != 1:
        raise FieldProblem("cleco_every", _several(diameter, found) if found else _none(diameter))
    return found[0]


def _several(diameter: Fraction, found: Sequence[Item]) -> str:
    codes = ", ".join(cleco.code for cleco in found)
    return f"several clecos are of {diameter} in ({codes}): leave the diameter to one of them"


def _none(diameter: Fraction) -> str:
    return f"no cleco of {diameter} in is in the catalogue: add one with its diameter, or leave cleco_every blank"


def rivet_codes() -> list[tuple[str, str]]:
    """Code and name of every item that a row can name as its rivet. One query."""
    return list(Item.objects.filter(kind__in=RIVETS, unit=COUNT).order_by("code").values_list("code", "name"))


def called_out(item: Item) -> Rivet | None:
    """What the item's code says of it as a rivet, or else the first of its other codes that reads as one."""
    return _first_rivet([item.code, *sorted(identifier.text for identifier in item.identifiers.all())])


def length_question(row: RivetRow, policy: str) -> str | None:
    """What to ask where a row's grip gives another length than the rivet it calls for; None where they agree or nothing is known."""
    rivet = called_out(row.rivet)
    if rivet is None or row.grip is None:
        return None
    try:
        return call_out_question(rivet, row.grip, policy)
    except ValueError as error:
        return str(error)


def rivet_diameter(rivet: Item) -> Fraction | None:
    """The diameter of a rivet in inches: as the catalogue says, else as its code does; None where neither."""
    return _diameter(rivet.diameter, rivet.code)


def _diameter(stated: Fraction | None, code: str) -> Fraction | None:
    rivet = _first_rivet([code]) if stated is None else None
    return stated if rivet is None else rivet.diameter


def clecos_by_diameter() -> dict[Fraction, list[Item]]:
    """The workshop's clecos by diameter in inches: their colour is only a label. One query."""
    found: dict[Fraction, list[Item]] = {}
    for cleco in Item.objects.filter(kind=Kind.CLECO, diameter__isnull=False).order_by("code"):
        if cleco.diameter is not None:
            found.setdefault(cleco.diameter, []).append(cleco)
    return found


@dataclass(frozen=True, slots=True)
class Spacing:
    """How close clecos stand at a stage, where that comes from, and the common practice of the trade beside it."""

    stage: str
    name: str
    every: int
    own: bool
    usual: int
    reason: Reason

    @property
    def now(self) -> str:
        """The spacing in the reader's words."""
        return spaced_here(self.every)

    @property
    def practice(self) -> str:
        """The common practice in the reader's words."""
        return spaced_here(self.usual)


def spaced(every: int) -> str:
    """A spacing in words."""
    return SPACED.get(every, f"1 hole in {every}")


def spaced_here(every: int) -> str:
    """A spacing in the reader's words."""
    return gettext(SPACED[every]) if every in SPACED else gettext("1 hole in %(every)s") % {"every": every}


def cleco_spacings() -> tuple[Spacing, ...]:
    """The workshop's spacing at each stage, the common practice where it set none. One query."""
    own = dict(ClecoSpacing.objects.values_list("stage", "every"))
    return tuple(_spacing(Stage(stage), own.get(stage)) for stage in Stage.values)


def _spacing(stage: Stage, own: int | None) -> Spacing:
    usual, practice = cleco_every(stage)
    reason = practice if own is None else Reason(f"{stage.label}: {spaced(own)}", "this workshop's own setting")
    return Spacing(stage, str(stage.label), own or usual, own is not None, usual, reason)


def losses() -> list[RivetLoss]:
    """What the workshop loses of each rivet size, the smallest first. One query."""
    return sorted(RivetLoss.objects.all(), key=lambda loss: loss.diameter)


def rivets(only: Collection[int] | None = None) -> dict[int, Rivet]:
    """The solid rivets among the workshop's items, or among `only` these: by their code, else by another identifier. One query."""
    named = Identifier.objects.filter(item__kind=Kind.RIVET)
    if only is not None:
        named = named.filter(item__in=only)
    texts: dict[int, list[str]] = {}
    for item, code, text in named.order_by("pk").values_list("item_id", "item__code", "text"):
        texts.setdefault(item, [code]).append(text)
    read = ((item, _first_rivet(found)) for item, found in texts.items())
    return {item: rivet for item, rivet in read if rivet is not None}


def _first_rivet(texts: list[str]) -> Rivet | None:
    for text in texts:
        try:
            return parse_rivet(text)
        except RivetCodeError:
            continue
    return None


def needs_rivet(step: Step, rivet: Item) -> bool:
    """Whether a row or a call-out of the step names that item. At most two queries."""
    return RivetRow.objects.filter(step=step, rivet=rivet).exists() or CallOut.objects.filter(step=step, item=rivet).exists()


@dataclass(frozen=True, slots=True)
class Accepted:
    """A substitution that stands: what serves for what in a step, and who accepted it on what word."""

    id: int
    step: int
    wanted: int
    wanted_code: str
    served_by: int
    served_code: str
    diameter: Fraction | None
    by: str
    on: date
    note: str

    @property
    def words(self) -> str:
        """What a trace says of it."""
        return f"in place of {self.wanted_code}, accepted by {self.by} on {self.on}: {self.note}"


_ACCEPTED = (
    *("id", "step_id", "wanted_id", "wanted__code", "served_by_id", "served_by__code", "served_by__diameter"),
    *("by__name", "at", "note"),
)


def accepted(**where: Any) -> dict[tuple[int, int], Accepted]:
    """The substitutions that stand, by step and wanted item; `where` filters them. One query."""
    rows = Substitution.objects.filter(withdrawn_at=None, **where).order_by("pk").values_list(*_ACCEPTED)
    return {(row[1], row[2]): _accepted(row) for row in rows}


def _accepted(row: tuple[Any, ...]) -> Accepted:
    pk, step, wanted, wanted_code, served_by, code, diameter, by, at, note = row
    return Accepted(pk, step, wanted, wanted_code, served_by, code, _diameter(diameter, code), by, timezone.localdate(at), note)

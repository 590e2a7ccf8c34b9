"""What the seams of steps take, and what was mixed for them."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db.models import Sum

from buildplan.sealing import calc
from buildplan.sealing.models import Mix, MixShare, Seam
from inventory.catalogue import units
from inventory.catalogue.models import Kind
from inventory.catalogue.units import UnitError, to_stock_unit
from inventory.common.fields import rounded
from inventory.common.problems import FieldProblem
from inventory.common.reasons import Reason
from inventory.models import Item, Movement

MM = "mm"
GRAM = "g"


def as_stated(seam: Seam) -> calc.Seam:
    """A seam as the arithmetic takes it: its sizes in millimetres, exactly. Raises `UnitError` for a unit that is no length."""
    along = units.ratio(seam.unit or MM, MM)
    across = units.ratio(seam.size_unit, MM) if seam.size_unit else along
    return calc.Seam(
        shape=seam.shape,
        length=_times(seam.length, along),
        leg_a=_times(seam.leg_a, across),
        leg_b=_times(seam.leg_b, across),
        thickness=_times(seam.thickness, across),
        count=seam.count,
        grams_each=seam.grams_each,
        loss_percent=seam.loss_percent,
    )


def grams(seam: Seam, gravity: Decimal | None) -> calc.SeamGrams:
    """What a seam takes of a product of this specific gravity. Raises `ValueError` that names what is missing or makes no sense."""
    return calc.seam_grams(as_stated(seam), gravity)


def check_length_unit(text: str) -> str:
    """`text` where it is a unit of length. Raises `UnitError` with what would do."""
    units.ratio(text, MM)
    return text


def check_seam(seam: Seam, sealant: Item) -> None:
    """Refuse a seam whose grams can't be told: nothing of it is guessed. The `FieldProblem` names what to put right."""
    if sealant.kind != Kind.SEALANT:
        raise FieldProblem("sealant", f"{sealant.code} is of kind {sealant.kind}: name a sealant")
    try:
        found = grams(seam, sealant.gravity)
        to_stock_unit(found.grams, "g", sealant.unit)
    except UnitError as error:
        raise FieldProblem("sealant", f"{sealant.code} is counted in {sealant.unit}: {error}") from error
    except ValueError as error:
        raise _missing(error, sealant) from error


def _missing(error: ValueError, sealant: Item) -> FieldProblem:
    name, _, text = str(error).partition(": ")
    if name == "gravity":
        return FieldProblem("sealant", f"the specific gravity of {sealant.code} is {text}, and load the catalogue with it")
    return FieldProblem(name, text or name)


def sealant_codes() -> list[tuple[str, str]]:
    """Code and name of every sealant of the workshop. One query."""
    return list(Item.objects.filter(kind=Kind.SEALANT).order_by("code").values_list("code", "name"))


def of_steps(steps: Iterable[int]) -> list[tuple[Seam, calc.SeamGrams]]:
    """The seams of some steps in the order of the plans, with what each takes. One query."""
    found = Seam.objects.filter(step__in=steps).select_related("sealant").order_by("step_id", "position", "pk")
    return [(seam, grams(seam, seam.sealant.gravity)) for seam in found]


def _times(size: Fraction | None, factor: Fraction) -> Fraction | None:
    return None if size is None else size * factor


def mixed_grams(**step_filter: object) -> dict[tuple[int, int], Decimal]:
    """The grams that were mixed for steps, by step and item. `step_filter` says which steps, as of a row that has a `step`. One query."""
    return {pair: grams for pair, (grams, _) in _mixed(step_filter).items()}


def mixed(**step_filter: object) -> dict[tuple[int, int], tuple[Decimal, str]]:
    """`mixed_grams` in the item's stock unit, which stands beside. One query."""
    return {pair: (rounded(Fraction(grams) / units.ratio(unit, GRAM)), unit) for pair, (grams, unit) in _mixed(step_filter).items()}


def _mixed(step_filter: Mapping[str, object]) -> dict[tuple[int, int], tuple[Decimal, str]]:
    rows = MixShare.objects.filter(mix__taken_back_at=None, **step_filter).order_by()
    sums = rows.values_list("step_id", "mix__item_id", "mix__item__unit").annotate(total=Sum("grams"))
    return {(step, item): (grams, unit) for step, item, unit, grams in sums}


@dataclass(frozen=True, slots=True)
class Shared:
    """What of a batch was mixed for a step, in grams."""

    step_id: int
    project: str
    code: str
    grams: Decimal


@dataclass(frozen=True, slots=True)
class MixRow:
    """A batch that was mixed, in grams, with the lots that it came from and the steps that it was for.

    `product` is the product's own base and accelerator by weight, `division` that of the scale of its seal day.
    """

    id: int
    item_id: int
    item: str
    name: str
    base: Decimal
    accelerator: Decimal
    mixed_at: datetime
    mixed_by: str
    temperature_f: Fraction | None
    life_hours: Fraction | None
    work_until: datetime | None
    left: Decimal | None
    ended_at: datetime | None
    note: str
    by: str
    at: datetime
    taken_back_at: datetime | None
    product: tuple[Decimal | None, Decimal | None]
    division: Fraction | None
    lots: tuple[str, ...]
    shares: tuple[Shared, ...]

    @property
    def grams(self) -> Decimal:
        """All of it."""
        return self.base + self.accelerator

    @property
    def stop(self) -> Reason | None:
        """Why it should not have been placed at the temperature of the metal; None where that isn't known, or is right."""
        return stop(self.temperature_f)

    @property
    def off(self) -> tuple[Reason, ...]:
        """How it differs from the product's ratio, in one sentence first; nothing where the scale may explain it."""
        return off_ratio(self.base, self.accelerator, *self.product, self.division)

    @property
    def warnings(self) -> tuple[Reason, ...]:
        """What is wrong with it, each in one sentence with its source."""
        return (*((self.stop,) if self.stop else ()), *self.off[:1])

    def of(self, step_id: int) -> Decimal:
        """What of it was mixed for a step."""
        return sum((share.grams for share in self.shares if share.step_id == step_id), Decimal(0))


_MIX = (
    *("id", "item_id", "item__code", "item__name", "base", "accelerator"),
    *("mixed_at", "mixed_by", "temperature_f", "life_hours", "work_until", "left", "ended_at", "note", "by__name", "at", "taken_back_at"),
)
_RATIO = ("item__base", "item__accelerator", "seal_day__day__division")


def mixes(*, bare: bool = False, **mix_filter: object) -> tuple[MixRow, ...]:
    """The batches that `mix_filter` is true of, those that were taken back too, in the order mixed. Three queries at most.

    `bare` leaves out their lots and shares: one query.
    """
    rows: list[tuple[Any, ...]] = list(Mix.objects.filter(**mix_filter).order_by("mixed_at", "pk").values_list(*_MIX, *_RATIO).distinct())
    ids = [row[0] for row in rows]
    shares = _shares(ids) if ids and not bare else {}
    lots = _lots(ids) if ids and not bare else {}
    said = len(_MIX)
    found = [(*row[:said], row[said : said + 2], row[-1], tuple(lots.get(row[0], ())), tuple(shares.get(row[0], ()))) for row in rows]
    return tuple(MixRow(*columns) for columns in found)


def stop(temperature_f: Fraction | None) -> Reason | None:
    """Why nothing may be sealed at a temperature of the metal; None where it isn't known, or is right."""
    return None if temperature_f is None else calc.forbidden(float(temperature_f))


def off_ratio(
    base: Decimal, accelerator: Decimal, parts: Decimal | None, hardener: Decimal | None, division: Fraction | None
) -> tuple[Reason, ...]:
    """How a mix differs from the product's ratio beyond what the scale explains; nothing where the product's isn't known."""
    return calc.ratio_off(base, accelerator, (parts, hardener), division=division) if parts and hardener else ()


def mixed_for(step: int) -> tuple[MixRow, ...]:
    """The batches that were mixed for a step and stand, in the order mixed. Three queries at most."""
    return mixes(shares__step=step, taken_back_at=None)


def _shares(ids: Collection[int]) -> dict[int, list[Shared]]:
    found: dict[int, list[Shared]] = defaultdict(list)
    rows = MixShare.objects.filter(mix__in=ids).order_by("pk")
    for mix, step, project, code, grams in rows.values_list("mix_id", "step_id", "step__project__code", "step__code", "grams"):
        found[mix].append(Shared(step, project, code, grams))
    return found


def _lots(ids: Collection[int]) -> dict[int, list[str]]:
    """The lots of each batch, as labelled, each once."""
    refs = {f"mix:{pk}": pk for pk in ids}
    found: dict[int, dict[int, str]] = defaultdict(dict)
    rows = Movement.objects.filter(ref__in=refs, reverses=None).order_by("pk")
    for ref, lot, code in rows.values_list("ref", "lot_id", "lot__code"):
        found[refs[ref]][lot] = code or "no lot code"
    return {mix: list(codes.values()) for mix, codes in found.items()}

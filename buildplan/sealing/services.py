"""Writing seams, and the batches that were mixed."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from uuid import UUID

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from buildplan.hardware.services import Gone, StepDone, checked_code, kept_exactly, lock_to_do, within
from buildplan.plan.calc import step_ref
from buildplan.plan.models import Project, Step
from buildplan.plan.services import refuse_closed_rows, refuse_if_closed
from buildplan.sealing.calc import portions, work_life
from buildplan.sealing.metal import refuse_implausible
from buildplan.sealing.models import Mix, MixShare, Seam
from buildplan.sealing.queries import GRAM, check_length_unit, check_seam
from inventory.catalogue.models import Kind
from inventory.catalogue.units import UnitError, ratio
from inventory.common.fields import plain, rounded
from inventory.common.history import assign, changed_by, put_many
from inventory.common.problems import FieldProblem, Problem
from inventory.common.quantities import not_negative, positive
from inventory.common.rows import find_or_make
from inventory.common.texts import filled, optional
from inventory.models import Item, Lot, Member, Movement, Place, SetAside
from inventory.stock import services as stock
from inventory.workshop import policy

MOST_ALIKE = 1_000_000
MOST_LOSS = 1000
LOSS_PLACES = 6
SIZES = ("length", "leg_a", "leg_b", "thickness", "grams_each")
MOST_WHO = 120
MOST_NOTE = 200


class MixTakenBack(Problem):
    """A batch that was taken back is a record: nothing more is said of it."""

    status = 409
    title = "This batch was taken back"


class MixUsed(Problem):
    """A step is done with the batch: what it used stays used while that stands."""

    status = 409
    title = "A step is done with this batch"


@dataclass(frozen=True, slots=True)
class PlannedSeam:
    """A seam as a plan states it: sizes as written, in `unit` and `size_unit`. `step` is a code of the project, in any case."""

    step: str
    code: str
    sealant_id: int
    shape: str
    length: Fraction | None = None
    unit: str = ""
    leg_a: Fraction | None = None
    leg_b: Fraction | None = None
    thickness: Fraction | None = None
    size_unit: str = ""
    count: int = 1
    grams_each: Fraction | None = None
    loss_percent: Fraction = Fraction(0)

    def fields(self) -> dict[str, object]:
        """What is set on the seam's row."""
        return {name: value for name, value in asdict(self).items() if name != "step"}


@transaction.atomic
def put_seams(*, project: Project, seams: Sequence[PlannedSeam], by: Member) -> list[str]:
    """Make the project's seams what `seams` say, in place, and give back those removed, as `STEP SEAM`."""
    policy.require(by, "plan", project.bench)
    steps = {code.upper(): pk for pk, code in Step.objects.filter(project=project).values_list("pk", "code")}
    found = Seam.objects.filter(step__project=project).select_related("step")
    present = {(seam.step_id, seam.code.upper()): seam for seam in found}
    wanted = {
        (steps[seam.step.upper()], seam.code.upper()): {
            **seam.fields(),
            "workshop_id": project.workshop_id,
            "step_id": steps[seam.step.upper()],
            "position": position,
        }
        for position, seam in enumerate(seams, start=1)
    }
    refuse_closed_rows(project, present, wanted, "seams")
    return [f"{seam.step.code} {seam.code}" for seam in put_many(Seam, present, wanted, by)]


@transaction.atomic
def save_seam(*, step: Step, stated: PlannedSeam, by: Member, seam: Seam | None = None) -> Seam:
    """Put a seam into `step`, or make `seam` of it say what is stated. Its grams must be told from that, as when loading.

    A `FieldProblem` names what doesn't do. Refused for a step that is done.
    """
    policy.require(by, "plan", step.project.bench)
    policy.own(by, step)
    step = lock_to_do(step, "its seams")
    found = Seam(workshop_id=step.workshop_id, step=step, position=_next_position(step)) if seam is None else _seam_now(seam, step)
    said = _checked(stated)
    if Seam.objects.filter(step=step, code__iexact=said.code).exclude(pk=found.pk).exists():
        raise FieldProblem("code", f"{said.code} is a seam of {step.code} already: give each seam of a step its own code")
    if assign(found, said.fields()) or found.pk is None:
        changed_by(found, by).save()
    return found


@transaction.atomic
def remove_seam(*, seam: Seam, by: Member) -> None:
    """Take a seam out of its step; its history stays. Refused for a step that is done."""
    policy.require(by, "plan", seam.step.project.bench)
    policy.own(by, seam)
    step = lock_to_do(seam.step, "its seams")
    changed_by(_seam_now(seam, step), by).delete()


def _seam_now(seam: Seam, step: Step) -> Seam:
    found = Seam.objects.filter(pk=seam.pk, step=step).first()
    if found is None:
        raise Gone(f"seam {seam.code} is no longer in {step.code}: it was removed meanwhile")
    return found


def _next_position(step: Step) -> int:
    last: int | None = Seam.objects.filter(step=step).aggregate(last=Max("position"))["last"]
    return (last or 0) + 1


def _checked(stated: PlannedSeam) -> PlannedSeam:
    said = replace(stated, code=checked_code(stated.code, "seam"))
    sealant = Item.objects.filter(pk=said.sealant_id).first()
    if sealant is None:
        raise FieldProblem("sealant", "that is no item of this workshop's catalogue")
    for name in ("unit", "size_unit"):
        _check_unit(name, getattr(said, name))
    for name in SIZES:
        if (size := getattr(said, name)) is not None:
            kept_exactly(name, size)
    within("count", said.count, MOST_ALIKE)
    _check_loss(said.loss_percent)
    check_seam(Seam(**said.fields()), sealant)
    return said


def _check_unit(name: str, unit: str) -> None:
    try:
        if unit:
            check_length_unit(unit)
    except UnitError as error:
        raise FieldProblem(name, str(error)) from error


def _check_loss(percent: Fraction) -> None:
    if not 0 <= percent <= MOST_LOSS or percent * 10**LOSS_PLACES % 1:
        raise FieldProblem("loss_percent", f"give a loss of 0 to {MOST_LOSS} %, such as 15, with {LOSS_PLACES} decimals at most")


# Batches


@dataclass(frozen=True, slots=True)
class Take:
    """What was weighed out of a lot from a place, in grams."""

    lot: Lot
    place: Place
    grams: Decimal


@transaction.atomic
def record_mix(  # noqa: PLR0913 - what is said of a batch
    *,
    item: Item,
    key: UUID,
    takes: Sequence[Take],
    shares: Sequence[tuple[Step, Decimal]],
    base: Decimal,
    accelerator: Decimal,
    mixed_at: datetime,
    mixed_by: str,
    on: date,
    temperature_f: Fraction | None,
    life_hours: Fraction | None,
    by: Member,
    note: str = "",
) -> Mix:
    """Write down a batch that was mixed for some steps, and take it from stock; all of it or nothing. The same `key` again makes none.

    What the lots gave, base + accelerator and the shares are the same grams, else a `FieldProblem` says so. The lots leave stock as
    by any use on the day `on`, so one that may not be used is refused, and what is set aside for these steps is drawn down. A lot that
    was closed is open from that day. Each step then needs so much less. Refused for a step that is done, and for one of a section that
    is closed up, and of metal that can't be as cold or as hot; at a temperature that forbids sealing it is written down: it happened.
    """
    for step, _ in shares:
        policy.require(by, "use_stock", step.project.bench)
    policy.own(by, item, *(take.lot for take in takes), *(take.place for take in takes))
    refuse_if_closed(*(step for step, _ in shares), unless=Mix.objects.filter(key=key))
    steps = _lock_steps(step.pk for step, _ in shares)
    if (made := Mix.objects.filter(key=key).first()) is not None:
        return made
    mix = Mix(
        workshop_id=by.workshop_id,
        item=item,
        key=key,
        base=_grams("base", base),
        accelerator=_grams("accelerator", accelerator, least=not_negative),
        mixed_at=mixed_at,
        mixed_by=filled("name of who mixed it", mixed_by, MOST_WHO),
        temperature_f=temperature_f,
        life_hours=life_hours,
        work_until=_work_until(mixed_at, temperature_f, life_hours),
        note=optional("note", note, MOST_NOTE),
        by=by,
    )
    refuse_implausible("temperature_f", temperature_f)
    taken, given = _by_spot(takes), _by_step(shares)
    factor = _in_grams(item)
    _refuse_sums(mix, taken, given)
    _refuse_foreign(item, taken, steps.values())
    mix, made_now = find_or_make(lambda: Mix.objects.filter(key=key).first(), lambda: _saved(mix, by))
    if made_now:
        MixShare.objects.bulk_create(
            MixShare(workshop_id=by.workshop_id, mix=mix, step_id=step, grams=grams) for step, grams in given.items()
        )
        _take_from_stock(mix, taken, given, factor, on, by)
    return mix


@transaction.atomic
def end_mix(*, mix: Mix, left: Decimal, at: datetime, by: Member) -> Mix:
    """Write down that a batch is used up or put away, and the grams that were left over. Saying it again corrects it.

    It stays possible where a section of its steps is closed up: what they took is said by the shares, and a seal day waits for this.
    """
    mix = _lock_mix(mix, by)
    left = _grams("left", left, least=not_negative)
    if left > (total := mix.base + mix.accelerator):
        raise FieldProblem("left", f"{plain(left)} g left of {plain(total)} g that were mixed: no more than that can be left")
    if at < mix.mixed_at:
        raise FieldProblem("at", "that is before it was mixed")
    mix.left, mix.ended_at = left, at
    changed_by(mix, by).save(update_fields=["left", "ended_at"])
    return mix


@transaction.atomic
def take_back_mix(*, mix: Mix, on: date, now: datetime, by: Member) -> Mix:
    """Undo a batch: what it took goes back where it lay, and its steps need it again. The batch itself stays on record.

    Refused where one of its steps is done, or of a section that is closed up. A lot that it opened, or one that was taken back before, is
    as if it had never been opened where nothing else was taken of it since. What was set aside for its steps isn't set aside anew.
    """
    policy.own(by, mix)
    refuse_if_closed(*Step.objects.filter(mix_shares__mix=mix))
    _lock_steps(MixShare.objects.filter(mix=mix).values_list("step_id", flat=True))
    mix = _lock_mix(mix, by)
    if done := MixShare.objects.filter(mix=mix, step__done=True).select_related("step").first():
        raise MixUsed(f"{done.step.code} is done, and this batch was mixed for it: take the step back first")
    movements = Movement.objects.filter(ref=mix.ref, reverses=None, reversed_by=None).select_related("lot__bench", "source", "target")
    opened = stock.lock(movement.lot for movement in movements)
    for movement in movements.order_by("-pk"):
        stock.reverse(movement=movement, on=on, by=by, note="batch taken back")
    gone = {_opened_for(pk) for pk in (mix.pk, *_taken_back(mix.item_id))}
    for lot in opened.values():
        stock.unopen(lot=lot, whys=gone, because="the batch that it was opened for was taken back", by=by)
    mix.taken_back_at, mix.taken_back_by = now, by
    changed_by(mix, by).save(update_fields=["taken_back_at", "taken_back_by"])
    return mix


def _lock_steps(steps: Iterable[int]) -> dict[int, Step]:
    """The steps as they are now, by id, held until the transaction ends, so that none is finished meanwhile."""
    rows = Step.objects.select_for_update(of=("self",)).select_related("project__bench").filter(pk__in=set(steps))
    return {step.pk: step for step in rows.order_by("pk")}


def _lock_mix(mix: Mix, by: Member) -> Mix:
    for bench in {share.step.project.bench for share in mix.shares.select_related("step__project__bench")}:
        policy.require(by, "use_stock", bench)
    policy.own(by, mix)
    found = Mix.objects.select_for_update().get(pk=mix.pk)
    if found.taken_back_at is not None:
        raise MixTakenBack(f"this batch was taken back on {timezone.localdate(found.taken_back_at)}: nothing of it counts any more")
    return found


def _grams(field: str, value: Decimal, *, least: Callable[[Decimal], Decimal] = positive) -> Decimal:
    try:
        return least(value)
    except Problem as error:
        raise FieldProblem(field, str(error)) from error


def _work_until(mixed_at: datetime, temperature_f: Fraction | None, life_hours: Fraction | None) -> datetime | None:
    """None where the life or the temperature wasn't said, or the metal is too cold or too hot to seal at all."""
    if temperature_f is None or life_hours is None:
        return None
    try:
        life = work_life(float(life_hours), float(temperature_f))
    except ValueError as error:
        name, _, text = str(error).partition(": ")
        raise FieldProblem("life_hours" if name == "hours" else name, f"the work life {text}" if name == "hours" else text) from error
    return None if life.hours is None else mixed_at + timedelta(hours=life.hours)


def _by_spot(takes: Iterable[Take]) -> dict[tuple[int, int], Take]:
    """What each place gave of each lot."""
    found: dict[tuple[int, int], Take] = {}
    for take in takes:
        spot, grams = (take.lot.pk, take.place.pk), _grams("takes", take.grams)
        found[spot] = replace(take, grams=grams + (found[spot].grams if spot in found else 0))
    return found


def _by_step(shares: Iterable[tuple[Step, Decimal]]) -> dict[int, Decimal]:
    found: dict[int, Decimal] = {}
    for step, grams in shares:
        found[step.pk] = found.get(step.pk, Decimal(0)) + _grams("shares", grams)
    return found


def _in_grams(item: Item) -> Fraction:
    """How many grams one stock unit is."""
    if item.kind != Kind.SEALANT:
        raise FieldProblem("item", f"{item.code} is of kind {item.kind}: name a sealant")
    try:
        return ratio(item.unit, GRAM)
    except UnitError as error:
        raise FieldProblem("item", f"{item.code} is counted in {item.unit}: {error}") from error


def _refuse_sums(mix: Mix, taken: Mapping[tuple[int, int], Take], given: Mapping[int, Decimal]) -> None:
    total = mix.base + mix.accelerator
    lots, steps = sum((take.grams for take in taken.values()), Decimal(0)), sum(given.values(), Decimal(0))
    said = f"{plain(mix.base)} g base + {plain(mix.accelerator)} g accelerator are {plain(total)} g"
    if lots != total:
        raise FieldProblem("takes", f"{said}, and {plain(lots)} g were taken of lots: make them the same")
    if steps != total:
        raise FieldProblem("shares", f"{said}, and the steps get {plain(steps)} g of it: share all of it, what is left over too")


def _refuse_foreign(item: Item, taken: Mapping[tuple[int, int], Take], steps: Iterable[Step]) -> None:
    for step in steps:
        if step.done:
            raise StepDone(f"{step.code} is done: take it back before a batch is mixed for it")
        for lot in (take.lot for take in taken.values()):
            if lot.item_id != item.pk:
                raise FieldProblem("takes", f"{stock.named(lot)} is none of {item.code}")
            if lot.bench_id != step.project.bench_id and not lot.bench.shared:
                raise FieldProblem(
                    "takes", f"{stock.named(lot)} is of {lot.bench}, and {step.code} of {step.project.bench}: ask for it first"
                )


def _saved(mix: Mix, by: Member) -> Mix:
    changed_by(mix, by).save(force_insert=True)
    return mix


def _take_from_stock(  # noqa: PLR0913 - private: what was weighed out, and for whom
    mix: Mix, taken: Mapping[tuple[int, int], Take], given: Mapping[int, Decimal], factor: Fraction, on: date, by: Member
) -> None:
    """One movement for each part of a lot that one step gets. What each place loses is rounded once, however many share it."""
    takes, steps = list(taken.values()), list(given)
    lots = stock.lock(take.lot for take in takes)
    for pk in sorted(lots):
        if lots[pk].opened_on is None:
            lots[pk] = stock.open_lot(lot=lots[pk], on=on, by=by, why=_opened_for(mix.pk))
    held = _held(takes, steps, factor)
    before: dict[int, Fraction] = {}
    for portion in portions([take.grams for take in takes], list(given.values()), held):
        take, start = takes[portion.lot], before.get(portion.lot, Fraction(0))
        before[portion.lot] = end = start + portion.grams
        if quantity := rounded(end / factor) - rounded(start / factor):
            ref = step_ref(steps[portion.share])
            stock.use(lot=take.lot, quantity=quantity, place=take.place, on=on, by=by, ref=mix.ref, step_ref=ref)


def _opened_for(mix: int) -> str:
    """What a lot's history says of an opening by a batch: it tells which one."""
    return f"opened for batch {mix}"


def _taken_back(item: int) -> Iterable[int]:
    return Mix.objects.filter(item=item, taken_back_at__isnull=False).values_list("pk", flat=True)


def _held(takes: Sequence[Take], steps: Sequence[int], factor: Fraction) -> dict[tuple[int, int], Fraction]:
    """The grams set aside for these steps of these lots, by their places in both."""
    refs = {step_ref(step): at for at, step in enumerate(steps)}
    rows = SetAside.objects.filter(ref__in=refs, lot__in={take.lot.pk for take in takes}).values_list("lot_id", "ref", "quantity")
    aside = {(lot, refs[ref]): Fraction(quantity) * factor for lot, ref, quantity in rows}
    return {(at, share): grams for at, take in enumerate(takes) for (lot, share), grams in aside.items() if lot == take.lot.pk}

"""The only writer of senders, claim clocks and claims, and of what is known of a crate's journey."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TypedDict, Unpack
from uuid import UUID, uuid5

from django.db import IntegrityError, transaction

from inventory.claims import calc, queries
from inventory.claims.models import Claim, ClaimLine, ClaimRule, ClaimState, Fault
from inventory.claims.queries import Claimable
from inventory.common.fields import plain
from inventory.common.history import assign, changed_by, create_many, update_many
from inventory.common.problems import FieldProblem, Problem
from inventory.common.quantities import positive, refuse_part
from inventory.common.rows import batches
from inventory.common.texts import filled, optional
from inventory.receiving import services as receiving
from inventory.receiving.models import Crate, PackingLine, Sender
from inventory.workshop import policy
from inventory.workshop.models import Member

MOST_NAME = 120
MOST_ADDRESS = 500
MOST_EMAIL = 254
MOST_SOURCE = 200
MOST_NOTE = 200
MOST_ANSWER = 500
MOST_DAYS = 3650  # ten years: no sender gives longer
ANSWERS = (ClaimState.CREDITED, ClaimState.REPLACED, ClaimState.REFUSED)


class SenderUsed(Problem):
    """A sender that crates name stays."""

    status = 409
    title = "This sender has crates"


class NobodyToAsk(Problem):
    """A claim that has no addressee."""

    status = 409
    title = "Nobody to claim from"


class NothingToClaim(Problem):
    """No difference is left that a claim doesn't cover: drafting twice doesn't claim twice."""

    status = 409
    title = "Nothing left to claim"


class TooMuch(Problem):
    """A claim of more than is missing."""

    status = 422
    title = "More than is missing"


class WrongMoment(Problem):
    """A claim is drafted, then sent, then answered, each once."""

    status = 409
    title = "Not at this point of the claim"


class Journey(TypedDict, total=False):
    """What is known of a crate's way here. Only what is given changes."""

    sender: Sender | None
    order_code: str
    carrier: str
    ordered_on: date | None
    shipped_on: date | None
    due_on: date | None
    arrived_on: date | None


@dataclass(frozen=True, slots=True)
class Chosen:
    """How much of one difference to claim, and for which fault."""

    line_id: int | None
    item_id: int
    fault: Fault
    quantity: Decimal
    note: str = ""


# Senders and their clocks


@transaction.atomic
def save_sender(*, name: str, by: Member, sender: Sender | None = None, address: str = "", email: str = "") -> Sender:
    """Make a sender, or change the one given. A name is one sender's, in any case of letters."""
    policy.require(by, "order")
    row = Sender(workshop_id=by.workshop_id) if sender is None else sender
    policy.own(by, row)
    row.name = filled("name", name, MOST_NAME)
    row.address, row.email = _address(address), optional("e-mail", email, MOST_EMAIL)
    try:
        with transaction.atomic():
            changed_by(row, by).save()
    except IntegrityError as error:
        raise FieldProblem("name", f"{row.name} is among the senders already: change that one") from error
    return row


def _address(text: str) -> str:
    """The lines of an address, blank ones left out."""
    lines = [kept for line in text.splitlines() if (kept := optional("address", line, MOST_ADDRESS))]
    address = "\n".join(lines)
    if len(address) > MOST_ADDRESS:
        raise FieldProblem("address", f"the address has {len(address)} characters: {MOST_ADDRESS} are the most")
    return address


@transaction.atomic
def remove_sender(*, sender: Sender, by: Member) -> None:
    """Forget a sender and its clocks. Refuses one that a crate names."""
    policy.require(by, "order")
    policy.own(by, sender)
    named = Crate.objects.filter(sender=sender).order_by("code").values_list("code", flat=True)[:3]
    if named:
        raise SenderUsed(f"{sender.name} sent {', '.join(named)}: change the sender of what it sent first")
    for rule in ClaimRule.objects.filter(sender=sender):
        changed_by(rule, by).delete()
    changed_by(sender, by).delete()


@transaction.atomic
def save_rule(  # noqa: PLR0913 - what a clock says
    *, sender: Sender, fault: str, days: int, by: Member, against: str = calc.SENDER, source: str = ""
) -> ClaimRule:
    """Set the claim clock of a sender for one fault: `days` after arrival, claimed from `against`, as `source` says.

    `against` is `sender`, `carrier` (whoever carried the crate), or a name.
    """
    policy.require(by, "order")
    policy.own(by, sender)
    if fault not in Fault.values:
        raise FieldProblem("fault", f"{fault} is no fault to claim: {', '.join(Fault.values)} are")
    if not 0 <= days <= MOST_DAYS:
        raise FieldProblem("days", f"{days} days: give a number from 0 to {MOST_DAYS}")
    Sender.objects.select_for_update(no_key=True).get(pk=sender.pk)  # of two at once the later changes what the first made
    rule = ClaimRule.objects.filter(sender=sender, fault=fault).first()
    rule = rule or ClaimRule(workshop_id=sender.workshop_id, sender=sender, fault=fault)
    rule.days = days
    rule.against = optional("name to claim from", against, MOST_NAME) or calc.SENDER
    rule.source = optional("place where this is written", source, MOST_SOURCE)
    changed_by(rule, by).save()
    return rule


@transaction.atomic
def remove_rule(*, rule: ClaimRule, by: Member) -> None:
    """Forget a claim clock: it isn't known any more."""
    policy.require(by, "order")
    policy.own(by, rule)
    changed_by(rule, by).delete()


@transaction.atomic
def set_sender(*, crate: Crate, by: Member, **journey: Unpack[Journey]) -> Crate:
    """Write down who sent a crate and how it came. Claim clocks run from `arrived_on`."""
    policy.require(by, "order", crate.bench)
    policy.own(by, crate)
    if sender := journey.get("sender"):
        policy.own(by, sender)
    locked = Crate.objects.select_for_update(no_key=True, of=("self",)).select_related("bench", "sender").get(pk=crate.pk)
    assign(locked, dict(journey))
    locked.order_code = optional("order", locked.order_code, 80)
    locked.carrier = optional("carrier", locked.carrier, MOST_NAME)
    _refuse_disorder(locked)
    changed_by(locked, by).save()
    return locked


def _refuse_disorder(crate: Crate) -> None:
    """The days of a crate follow each other. It may come earlier than it was due."""
    for first, then in (("ordered", "shipped"), ("ordered", "due"), ("ordered", "arrived"), ("shipped", "due"), ("shipped", "arrived")):
        before, after = getattr(crate, f"{first}_on"), getattr(crate, f"{then}_on")
        if before is not None and after is not None and after < before:
            raise FieldProblem(f"{then}_on", f"{then} on {after} is before it was {first} on {before}: put one of the two right")


# Claims


@transaction.atomic
def draft_claims(
    *,
    crate: Crate,
    on: date,
    by: Member,
    chosen: Sequence[Chosen] | None = None,
    request_key: UUID | None = None,
) -> list[Claim]:
    """Draft the claims for what was found missing, damaged or wrong: one for each fault and addressee.

    All that no claim covers, or what is `chosen`; never more than that. The same `request_key` again returns the first claims.
    """
    policy.require(by, "order", crate.bench)
    policy.own(by, crate)
    locked = Crate.objects.select_for_update(no_key=True, of=("self",)).select_related("bench", "sender", "workshop").get(pk=crate.pk)
    if made := _made_by(request_key):
        return made
    if locked.arrived_on is not None and on < locked.arrived_on:
        raise FieldProblem("on", f"{on} is before the crate arrived on {locked.arrived_on}")
    left = queries.claimable(locked)
    wanted = _all_of(left) if chosen is None else chosen
    if not wanted:
        raise NothingToClaim(_why_nothing(locked, left))
    _refuse_beyond(wanted, left)
    rules = queries.rules_of(locked)
    groups: dict[Fault, list[Chosen]] = defaultdict(list)
    for one in wanted:
        groups[one.fault].append(one)
    return [_draft(_claim(locked, fault, rules.get(fault), on, request_key), ones, by) for fault, ones in groups.items()]


def _made_by(request_key: UUID | None) -> list[Claim]:
    keys = [] if request_key is None else [uuid5(request_key, fault) for fault in Fault.values]
    return list(Claim.objects.filter(request_key__in=keys).order_by("pk")) if keys else []


def _all_of(left: Iterable[Claimable]) -> list[Chosen]:
    return [Chosen(one.line_id, one.item_id, one.fault, one.left) for one in left if one.left]


def _why_nothing(crate: Crate, left: Collection[Claimable]) -> str:
    if any(one.left for one in left):
        return "every quantity is 0: give one above it for what you claim"
    if left:
        return f"all that differs in crate {crate.code} is claimed already: see its claims"
    return f"nothing of crate {crate.code} was found short, damaged or wrong: count its bags to the end first"


def _refuse_beyond(wanted: Iterable[Chosen], left: Iterable[Claimable]) -> None:
    room = {one.key: one for one in left}
    asked: dict[queries.Key, Decimal] = defaultdict(Decimal)
    for one in wanted:
        key = queries.key_of(one.line_id, one.item_id, one.fault)
        asked[key] += positive(one.quantity)
        if key not in room:
            raise TooMuch("what you claim is not among the differences of this crate: look at its count again")
        found = room[key]
        if one.quantity != found.left:  # all that differs may be claimed, be it half a piece that the packing list says
            refuse_part(one.quantity, found.unit, found.item)
        if asked[key] > found.left:
            raise TooMuch(
                f"{plain(asked[key])} {found.unit} of {found.item} are claimed, and {plain(found.left)} {found.unit} are left to claim: "
                f"{plain(found.quantity)} differ, {plain(found.claimed)} stand in other claims",
            )


def _claim(crate: Crate, fault: Fault, rule: ClaimRule | None, on: date, request_key: UUID | None) -> Claim:
    claim = Claim(workshop_id=crate.workshop_id, crate=crate, fault=fault, made_on=on, against=_addressee(crate, rule))
    claim.due_on = queries.last_day(crate, rule)
    claim.request_key = None if request_key is None else uuid5(request_key, fault)
    return claim


def _addressee(crate: Crate, rule: ClaimRule | None) -> str:
    sender = crate.sender.name if crate.sender else ""
    against = calc.addressee(rule.against if rule else "", sender, crate.carrier)
    if not against:
        whom = "carried" if sender else "sent"
        raise NobodyToAsk(f"nobody knows who {whom} crate {crate.code}: write it into the crate's details first")
    return against


def _draft(claim: Claim, chosen: Sequence[Chosen], by: Member) -> Claim:
    changed_by(claim, by).save()
    create_many([_line(claim, one) for one in chosen], by)
    return claim


def _line(claim: Claim, chosen: Chosen) -> ClaimLine:
    note = optional("note", chosen.note, MOST_NOTE)
    ids = {"line_id": chosen.line_id, "item_id": chosen.item_id}
    return ClaimLine(workshop_id=claim.workshop_id, claim=claim, quantity=positive(chosen.quantity), note=note, **ids)


@transaction.atomic
def change_claim(
    *,
    claim: Claim,
    by: Member,
    against: str | None = None,
    quantities: Mapping[int, Decimal] | None = None,
) -> Claim:
    """Change whom a draft asks, or how much of its lines (by id) it claims; 0 leaves a line out. One line must stay."""
    locked = _locked(claim, by)
    _refuse_unless(locked, ClaimState.DRAFT, "change it")
    if against is not None:
        locked.against = filled("name to claim from", against, MOST_NAME)
        changed_by(locked, by).save()
    if quantities:
        _change_lines(locked, quantities, by)
        _refuse_more_than_missing(locked)
    return locked


def _change_lines(claim: Claim, quantities: Mapping[int, Decimal], by: Member) -> None:
    rows = {row.pk: row for row in ClaimLine.objects.filter(claim=claim)}
    for pk, quantity in quantities.items():
        if pk not in rows:
            raise FieldProblem("lines", f"line {pk} is not of this claim")
        if not quantity:
            changed_by(rows.pop(pk), by).delete()
            continue
        rows[pk].quantity = positive(quantity)
        changed_by(rows[pk], by).save()
    if not rows:
        raise FieldProblem("lines", "a claim claims something: discard the draft instead")


@transaction.atomic
def discard_claim(*, claim: Claim, by: Member) -> None:
    """Throw a draft away; what it claimed is left to claim again. What was sent stays."""
    locked = _locked(claim, by)
    _refuse_unless(locked, ClaimState.DRAFT, "discard it")
    for line in ClaimLine.objects.filter(claim=locked):
        changed_by(line, by).delete()
    changed_by(locked, by).delete()


@transaction.atomic
def send_claim(*, claim: Claim, on: date, by: Member) -> Claim:
    """Say that a claim was sent on a day; its letter stays as it is now. Refuses one that claims more than is missing by now."""
    locked = _locked(claim, by)
    _refuse_unless(locked, ClaimState.DRAFT, "send it")
    if on < locked.made_on:
        raise FieldProblem("on", f"sent on {on} is before it was drafted on {locked.made_on}")
    _refuse_more_than_missing(locked)
    locked.due_on = queries.last_day(locked.crate, queries.rules_of(locked.crate).get(locked.fault))
    letter = queries.letter(locked, on=on, by=by)
    locked.state, locked.sent_on = ClaimState.SENT, on
    locked.letter, locked.facts = calc.as_text(letter), calc.as_facts(letter)
    changed_by(locked, by).save()
    return locked


def _refuse_more_than_missing(claim: Claim) -> None:
    """What was found since the draft must not be claimed."""
    lines = ClaimLine.objects.filter(claim=claim).values_list("line_id", "item_id", "quantity")
    wanted = [Chosen(line, item, Fault(claim.fault), quantity) for line, item, quantity in lines]
    _refuse_beyond(wanted, queries.claimable(claim.crate, leave_out=claim.pk))


@transaction.atomic
def answer_claim(  # noqa: PLR0913 - what the answer says
    *,
    claim: Claim,
    state: str,
    on: date,
    by: Member,
    answer: str = "",
    replacement_due: date | None = None,
) -> Claim:
    """Write down what a sent claim was answered: credited, replaced or refused.

    `REPLACED` makes a crate on its way, due on `replacement_due`; without that day it counts once it has one. What is credited or
    replaced isn't expected from the first crate any more.
    """
    locked = _locked(claim, by)
    if state not in ANSWERS:
        raise FieldProblem("state", f"{state} is no answer: {', '.join(ANSWERS)} are")
    _refuse_unless(locked, ClaimState.SENT, "answer it")
    _refuse_answer_days(locked, state, on, replacement_due)
    locked.state, locked.answered_on, locked.answer = state, on, optional("answer", answer, MOST_ANSWER)
    changed_by(locked, by).save()
    lines = list(ClaimLine.objects.filter(claim=locked).select_related("line__item").order_by("pk"))
    if state != ClaimState.REFUSED and locked.fault == Fault.SHORTAGE:
        _give_up(locked.crate, lines, by)
    if state == ClaimState.REPLACED:
        _expect_again(locked, lines, on, replacement_due, by)
    return locked


def _refuse_answer_days(claim: Claim, state: str, on: date, due: date | None) -> None:
    if claim.sent_on is not None and on < claim.sent_on:
        raise FieldProblem("on", f"answered on {on} is before it was sent on {claim.sent_on}")
    if due is None:
        return
    if state != ClaimState.REPLACED:
        raise FieldProblem("replacement_due", f"nothing comes of a claim that is {state}: leave the day out")
    if due < on:
        raise FieldProblem("replacement_due", f"due on {due} is before the answer on {on}: give a day from then on")


def _give_up(crate: Crate, lines: Iterable[ClaimLine], by: Member) -> None:
    """What was claimed as missing is no longer in transit in its own crate: it would count twice.

    Closing a crate has done so already. Its lines change in their history alone, so that opening it again leaves them as they are.
    """
    claimed = {line.line_id: line.quantity for line in lines if line.line_id}
    rows = PackingLine.objects.select_for_update(no_key=True, of=("self",))
    for row in [row for batch in batches(sorted(claimed)) for row in rows.filter(pk__in=batch).order_by("pk")]:
        if crate.closed_on is None:
            row.open_quantity = max(row.open_quantity - claimed[row.pk], Decimal(0))
        changed_by(row, by, "answered by a claim").save(update_fields=["open_quantity"])


def _expect_again(claim: Claim, lines: Iterable[ClaimLine], on: date, due: date | None, by: Member) -> None:
    listed = [(claimed, claimed.line) for claimed in lines if claimed.line is not None]
    if not listed:
        raise FieldProblem("state", "nothing that this claim names is on the packing list, so nothing of it can be replaced")
    first = claim.crate
    codes = Crate.objects.values_list("code", flat=True)
    crate = Crate(workshop_id=first.workshop_id, bench=first.bench, sender=first.sender, order_code=first.order_code)
    crate.code = calc.next_code(first.code, codes, receiving.MOST_CODE)
    crate.ordered_on, crate.due_on = on, due
    changed_by(crate, by, "replacement").save()
    rows = [_again(crate, str(number), claimed.quantity, line) for number, (claimed, line) in enumerate(listed, 1)]
    for (claimed, _), row in zip(listed, create_many(rows, by), strict=True):
        claimed.replacement = row
    update_many(ClaimLine, [claimed for claimed, _ in listed], ["replacement"], by)


def _again(crate: Crate, number: str, quantity: Decimal, listed: PackingLine) -> PackingLine:
    row = PackingLine(workshop_id=crate.workshop_id, crate=crate, number=number, item=listed.item, name=listed.name, back_order_of=listed)
    row.quantity = row.open_quantity = quantity
    row.price = listed.price
    return row


def _locked(claim: Claim, by: Member) -> Claim:
    """The claim as it is, held until the transaction ends; its crate first, as drafting does."""
    policy.own(by, claim)
    crates = Crate.objects.select_for_update(no_key=True, of=("self",)).select_related("bench", "sender", "workshop")
    crate = crates.get(pk=claim.crate_id)
    policy.require(by, "order", crate.bench)
    locked = Claim.objects.select_for_update(no_key=True).get(pk=claim.pk)
    locked.crate = crate
    return locked


_POINT = {ClaimState.DRAFT: "is a draft: mark it as sent first", ClaimState.SENT: "was sent on {sent}"}


def _refuse_unless(claim: Claim, wanted: ClaimState, what: str) -> None:
    if claim.state == wanted:
        return
    told = _POINT.get(ClaimState(claim.state), f"was answered on {claim.answered_on}: it is {claim.state}").format(sent=claim.sent_on)
    raise WrongMoment(f"this claim {told}, so you can't {what}")

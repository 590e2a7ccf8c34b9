"""What a claim letter says: facts of the crate and its count, in plain words. It argues nothing and advises nobody."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from inventory.claims.calc import Letter, Photo, Row
from inventory.claims.models import Claim, ClaimLine, ClaimRule, Fault
from inventory.common.fields import plain

OPENING: Mapping[str, str] = {
    Fault.SHORTAGE: "We counted this crate against its packing list. These quantities are on the list and were not in the crate:",
    Fault.DAMAGE: "These things were damaged when the crate was handed over:",
    Fault.CONCEALED: "We counted this crate against its packing list. These things were found damaged inside it:",
    Fault.WRONG: "We counted this crate against its packing list. These things were found that are not what the list says:",
}
_SUBJECT: Mapping[str, str] = {
    Fault.SHORTAGE: "Shortage",
    Fault.DAMAGE: "Damage seen at delivery",
    Fault.CONCEALED: "Damage found inside",
    Fault.WRONG: "Wrong things",
}
ASKS = "Please answer whether you credit or replace what is claimed, and on which day a replacement leaves."


@dataclass(frozen=True, slots=True)
class Counted:
    """What the packing list and the count say of one line."""

    listed: Decimal
    good: Decimal
    damaged: Decimal
    wrong: Decimal


def compose(  # noqa: PLR0913 - the parts of a letter
    claim: Claim,
    lines: Iterable[tuple[ClaimLine, Counted]],
    *,
    rule: ClaimRule | None,
    to: Sequence[str],
    photos: Sequence[Photo],
    on: date,
    by: str,
) -> Letter:
    """The letter of a claim as it would be sent `on` a day. The claim's crate brings its sender and workshop."""
    crate, told = claim.crate, tuple(lines)
    wrong = claim.fault == Fault.WRONG or any(counted.wrong for _, counted in told)
    return Letter(
        subject=f"{_SUBJECT[claim.fault]} in crate {crate.code}" + (f", order {crate.order_code}" if crate.order_code else ""),
        sent_by=(crate.workshop.name,),
        to=tuple(to),
        day=str(on),
        facts=tuple(_facts(claim, rule)),
        opening=OPENING[claim.fault],
        heads=("Listed", "Found good", "Found damaged", *(["Found wrong"] if wrong else []), "Claimed"),
        rows=tuple(_row(line, counted, wrong=wrong) for line, counted in told),
        photos=tuple(photos),
        closing=tuple(text for text in (ASKS, "", by, crate.workshop.name) if text or by),
    )


def _facts(claim: Claim, rule: ClaimRule | None) -> list[tuple[str, str]]:
    crate = claim.crate
    known = [
        ("Crate", crate.code),
        ("Order", crate.order_code),
        ("Ordered on", crate.ordered_on),
        ("Sender", crate.sender.name if crate.sender else ""),
        ("Carrier", crate.carrier),
        ("Shipped on", crate.shipped_on),
        ("Arrived on", crate.arrived_on),
        ("Counted to the end on", crate.closed_on),
        ("To be claimed by", _due(claim, rule)),
    ]
    return [(name, str(value)) for name, value in known if value]


def _due(claim: Claim, rule: ClaimRule | None) -> str:
    if rule is None or claim.due_on is None:
        return ""
    days = "1 day" if rule.days == 1 else f"{rule.days} days"
    return f"{claim.due_on}, {days} after arrival" + (f" ({rule.source})" if rule.source else "")


def _row(line: ClaimLine, counted: Counted, *, wrong: bool) -> Row:
    item = line.item
    unit = item.unit if item else ""
    figures = (counted.listed, counted.good, counted.damaged, *([counted.wrong] if wrong else []), line.quantity)
    name = line.line.name if line.line else ""
    return Row(
        item=item.code if item else "unknown",
        name=name or (item.name if item else ""),
        where=_where(line),
        figures=tuple(f"{plain(figure)} {unit}".rstrip() for figure in figures),
        note=line.note,
    )


def _where(line: ClaimLine) -> str:
    if line.line is None:
        return "not on the packing list"
    bag = f"bag {line.line.bag.path}, " if line.line.bag else ""
    return f"{bag}line {line.line.number}"

"""What has come of promised replacements: reads that lists and pages of claims share."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Max, Sum
from django.utils import timezone

from inventory.claims import calc
from inventory.claims.models import Claim, ClaimLine, ClaimState
from inventory.common.fields import plain
from inventory.common.rows import batches
from inventory.receiving.services import LINE_REF
from inventory.stock.models import Movement
from inventory.tallying.models import Finding, Tally


@dataclass(frozen=True, slots=True)
class Came:
    """What has come of one promised replacement, and when: on the day that its crate arrived, else when it was last counted or put away."""

    crate_id: int
    crate: str
    due_on: date | None
    unit: str
    promised: Decimal
    came: Decimal
    on: date | None

    def __str__(self) -> str:
        """What came of it, in words."""
        if not self.came:
            return f"due {self.due_on}" if self.due_on else "no due day yet"
        return f"came{f' on {self.on}' if self.on else ''}: {plain(self.came)} of {plain(self.promised)} {self.unit}"


_REPLACED = (
    *("claim_id", "pk", "replacement_id", "replacement__quantity", "replacement__item__unit"),
    *("replacement__crate_id", "replacement__crate__code", "replacement__crate__due_on", "replacement__crate__arrived_on"),
)


def came_of(claims: Iterable[Claim]) -> dict[int, list[tuple[int, Came]]]:
    """What has come of their replacements, by claim and line of it. Three queries for each 500 lines."""
    replaced = [claim.pk for claim in claims if claim.state == ClaimState.REPLACED]
    rows = [row for batch in batches(replaced) for row in _replaced(batch)]
    found = _found([row[2] for row in rows])
    by_claim: dict[int, list[tuple[int, Came]]] = defaultdict(list)
    for claim, line, listed, promised, unit, crate, code, due, arrived in rows:
        came, on = found.get(listed, (calc.NOTHING, None))
        by_claim[claim].append((line, Came(crate, code, due, unit, promised, came, arrived or on)))
    return by_claim


def _replaced(claims: Sequence[int]) -> Iterable[tuple[Any, ...]]:
    return ClaimLine.objects.filter(claim__in=claims, replacement__isnull=False).order_by("pk").values_list(*_REPLACED)


def _found(lines: Sequence[int]) -> dict[int, tuple[Decimal, date | None]]:
    """How much of these packing lines was put away or counted as good, and when last."""
    found: dict[int, tuple[Decimal, date | None]] = {}
    for batch in batches(lines):
        for line, quantity, on in (*_put_away(batch), *_counted(batch)):
            first, day = found.get(line, (calc.NOTHING, None))
            found[line] = max(first, quantity), day or on
    return found


def _put_away(lines: Iterable[int]) -> Iterator[tuple[int, Decimal, date]]:
    moved = Movement.objects.filter(ref__in=[f"{LINE_REF}{line}" for line in lines], reverses=None, reversed_by=None)
    for ref, quantity, on in moved.values_list("ref").annotate(Sum("quantity"), Max("on")).order_by():
        yield int(ref.removeprefix(LINE_REF)), quantity, on


def _counted(lines: Iterable[int]) -> Iterator[tuple[int, Decimal, date]]:
    counted = Tally.objects.filter(line__in=list(lines), finding=Finding.GOOD)
    for line, quantity, at in counted.values_list("line_id").annotate(Sum("quantity"), Max("at")).order_by():
        yield line, quantity, timezone.localdate(at)

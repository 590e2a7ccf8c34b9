"""What was read of plans and shelves, as one who asks sees it. Reads nothing."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from buildplan.plan.models import Project
from buildplan.shortfall.calc import Line, Need, Supply, net
from buildplan.shortfall.reading import Plans
from buildplan.tonight.reading import Shelves, Wants
from inventory.models import Bench, Member
from inventory.pool.queries import Out, Promise

NOTHING = Decimal(0)


@dataclass(frozen=True, slots=True)
class Desk:
    """Plans, what their steps take, and what there is, for who asks."""

    found: Plans
    wants: Wants
    shelves: Shelves
    today: date
    member: Member | None = None

    def label(self, step: int) -> str:
        """How a step is called."""
        return self.found.steps[step].label

    def project(self, step: int) -> Project:
        """The project of a step."""
        return self.found.projects[self.found.steps[step].order[0]]

    def items(self, step: int) -> list[tuple[int, list[Need]]]:
        """What a step takes, by item code."""
        needs = self.wants.needs.get(step, {})
        return sorted(needs.items(), key=lambda pair: self.shelves.items[pair[0]].code)

    def supplies(self, bench: Bench, item: int) -> list[Supply]:
        """What there is of an item for a bench, and what is on its way."""
        return list(self.shelves.supplies[bench.pk].get(item, ()))

    def line(self, bench: Bench, item: int, needs: Iterable[Need], supplies: Iterable[Supply]) -> Line:
        """Needs of one item netted against some supplies."""
        return net(self.shelves.items[item], needs, supplies, as_of=self.today, receiving_days=bench.workshop.receiving_days)

    def loans(self, bench: Bench, item: int, *, to_us: bool) -> list[Out]:
        """What is lent of an item: to this bench, or of what this bench may use to others."""
        of_ours = {bench.code, *self.shelves.shared}
        rows = self.shelves.loans.get(item, ())
        return [out for out in rows if (out.bench_id == bench.pk) is to_us and (to_us or out.owner in of_ours)]

    def booked(self, bench: Bench, item: int) -> list[Promise]:
        """What others booked of it: neither this bench nor who asks."""
        return [one for one in self.shelves.bookings.get(item, ()) if one.bench_id != bench.pk and not self._asks(one)]

    def _asks(self, one: Promise) -> bool:
        return self.member is not None and one.member_id == self.member.pk


def on_hand(supplies: Iterable[Supply]) -> list[Supply]:
    """Those that are here."""
    return [supply for supply in supplies if supply.on_hand]


def needed(needs: Iterable[Need]) -> Decimal:
    """What they come to."""
    return sum((need.quantity for need in needs), NOTHING)

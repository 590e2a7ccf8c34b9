"""What the lines of a packing list add up to, beside the totals that are printed on it: compared, never used.

Figures count as the list writes them, by the units that it writes: that is what whoever printed it has added up.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from inventory.common.exact import decimal_text
from inventory.common.quantities import COUNT

ALL = ""  # the key of all bags together
TOGETHER = "in all"  # figures of several units, added up as if they were of one
PLACES = 28  # as fine as a figure of a file may be


@dataclass(frozen=True, slots=True)
class Printed:
    """A total as it is printed. `bag` is blank where it is of all, `unit` where none is said; `where` is its row of the file."""

    quantity: Decimal
    bag: str = ""
    key: str = ALL
    unit: str = ""
    where: str = ""


@dataclass(frozen=True, slots=True)
class Compared:
    """A printed total beside what was added up for it. `unit` is of both."""

    printed: Fraction
    listed: Fraction
    unit: str

    @property
    def difference(self) -> str:
        """How much more or less is listed than is printed; nothing where they agree."""
        return difference(self.listed, self.printed)


@dataclass(slots=True)
class Totals:
    """What lines add up to, of all and of each bag with the bags in it."""

    lines: int = 0
    bags: set[str] = field(default_factory=set)
    _sums: dict[str, dict[str, Fraction]] = field(default_factory=dict)

    def add(self, key: str, quantity: Decimal, unit: str) -> None:
        """Count one line of the bag that compares as `key`."""
        self.lines += 1
        self.bags.add(key)
        for each in (ALL, *_around(key)):
            sums = self._sums.setdefault(each, defaultdict(Fraction))
            sums[unit] += Fraction(quantity)

    def sums(self, key: str = ALL) -> dict[str, Fraction]:
        """How much is listed in a bag, or in all, by unit."""
        return dict(self._sums.get(key, {}))

    def compare(self, printed: Printed) -> Compared:
        """What a printed total says beside what is listed.

        A total without a unit is of the only unit there is. Where there are several, it may be of the pieces alone, or of all figures
        added up alike: whichever agrees, else the first.
        """
        readings = self._readings(printed)
        wanted = Fraction(printed.quantity)
        unit, listed = next((each for each in readings if each[1] == wanted), readings[0])
        return Compared(wanted, listed, unit)

    def _readings(self, printed: Printed) -> list[tuple[str, Fraction]]:
        sums = self.sums(printed.key)
        if printed.unit:
            return [(printed.unit, sums.get(printed.unit, Fraction(0)))]
        if len(sums) == 1:
            return list(sums.items())
        pieces = [(COUNT, sums[COUNT])] if COUNT in sums else []
        return [*pieces, (TOGETHER, sum(sums.values(), Fraction(0)))]


def figure(number: Fraction) -> str:
    """A figure as people write it."""
    return decimal_text(number, PLACES)


def difference(listed: Fraction, printed: Fraction) -> str:
    """How much more or less is listed than is printed, in words; nothing where they agree."""
    if listed == printed:
        return ""
    return f"{figure(abs(listed - printed))} {'more' if listed > printed else 'fewer' if _whole(listed, printed) else 'less'}"


def _whole(*numbers: Fraction) -> bool:
    return all(number.denominator == 1 for number in numbers)


def _around(key: str) -> Iterator[str]:
    """The keys of a bag and of those that it lies in."""
    names = key.split("/")
    return ("/".join(names[:depth]) for depth in range(1, len(names) + 1))

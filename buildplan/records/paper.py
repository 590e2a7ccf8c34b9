"""How a step's sheet is made to fit one page: how small its type is, and which blanks its mix card has. Pure."""

from collections.abc import Iterator
from dataclasses import dataclass

from buildplan.records.mixing import Mix, ProductPlan, SealingPlan
from buildplan.records.sheet import StepSheet

MOST_CARDS = 12  # lines of the mix card; a day with more batches takes a second card
_BLANKS = 3
# Up to so many lines a size of type is large enough to fill a page and small enough to leave it.
_SIZES = ((30, "roomy"), (46, "usual"), (59, "close"), (75, "tight"))
_SMALLEST = "tightest"
_HALF = 52  # characters of half a line


@dataclass(frozen=True, slots=True)
class Card:
    """A line of the mix card: what to weigh, with blanks to write in what really was. `mix` is None where that isn't known."""

    product: str
    batch: str
    grams: str
    mix: Mix | None
    lots: str


@dataclass(frozen=True, slots=True)
class Paper:
    """`size` names the type; `more` is how many batches the card has no line for."""

    size: str
    cards: tuple[Card, ...]
    more: int


def fit(sheet: StepSheet, plan: SealingPlan) -> Paper:
    """Choose the type by what there is to print."""
    cards = tuple(card for product in plan.products for card in _cards(product))
    shown = cards[:MOST_CARDS]
    lines = _lines(sheet, plan, len(shown))
    size = next((name for most, name in _SIZES if lines <= most), _SMALLEST)
    return Paper(size, shown, len(cards) - len(shown))


def _cards(product: ProductPlan) -> Iterator[Card]:
    code = product.product.code
    for batch in product.batches:
        lots = ", ".join(lot for lot, _ in batch.lots)
        yield Card(code, f"{batch.number} of {len(product.batches)}", str(batch.grams), batch.mix, lots)
    if not product.batches:
        yield from (Card(code, "", "", None, "") for _ in range(_BLANKS))


def _lines(sheet: StepSheet, plan: SealingPlan, cards: int) -> int:
    """About how many lines of a page it fills. Needs stand in two columns; a line of the card is tall enough to write in."""
    needs = sum(_wrapped(f"{need.item} {need.name} {'; '.join(need.lies)}", _HALF) for need in sheet.needs) // 2
    questions = sum(2 for row in sheet.rows if row.question)
    tools = _wrapped(" ".join(tool.name + tool.use for tool in sheet.tools), _HALF) + len(sheet.dies) // 3
    rivets = 3 * len(sheet.rows) // 2 + questions + max(7 * len(sheet.checks) + tools + 3, 7) if sheet.rows else 0
    sealant = 3 * len(plan.products) + len(sheet.seams) // 3 + 2 * cards + len(plan.supplies) // 3
    return needs + rivets + sealant + 4 * bool(cards) + 4 * sheet.cautions


def _wrapped(text: str, width: int) -> int:
    return -(-len(text) // width)

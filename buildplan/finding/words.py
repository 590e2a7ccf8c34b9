"""The words of the pages, and how each main page works its figures out: the one place where both are said. Pure.

The sources are those of the traces themselves, so that a page and its "Why" can't name different ones.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from django.utils.translation import gettext_noop as _

from buildplan.club.calc import RULE as SHARED_OUT
from buildplan.club.words import NEAREST, PLAN
from buildplan.hardware.published import SPACING_SOURCE
from buildplan.sealday.planning import ORDER, SHEET
from buildplan.shortfall.buying import BUNDLING, PUBLISHED
from buildplan.shortfall.needs import CALL_OUT
from buildplan.shortfall.trace import CATALOGUE, PEAK, RULE
from buildplan.tonight import calc as tonight
from inventory.common.reasons import ARITHMETIC, Reason


@dataclass(frozen=True, slots=True)
class Word:
    """A word and what it means here."""

    name: str
    means: str

    @property
    def slug(self) -> str:
        """As an address names it."""
        return self.name.casefold().replace(",", "").replace(" ", "-")


@dataclass(frozen=True, slots=True)
class Chapter:
    """Words that belong together."""

    name: str
    words: tuple[Word, ...]

    @property
    def slug(self) -> str:
        """As an address names it."""
        return self.name.casefold().replace(",", "").replace(" ", "-")


CHAPTERS: tuple[Chapter, ...] = (
    Chapter(
        _("Who"),
        (
            Word(_("Workshop"), _("One garage, or one club. Everything belongs to exactly one, and no other sees it.")),
            Word(_("Member"), _("A person in a workshop.")),
            Word(_("Role"), _("What a member may do: owner, storekeeper, builder, inspector or reader. The page Roles lists it.")),
            Word(_("Bench"), _("One builder's own stock inside a workshop. A shared bench is the club's pool.")),
        ),
    ),
    Chapter(
        _("Things and where they are"),
        (
            Word(_("Item"), _("A kind of thing, such as a rivet of one size or a sealant. It is counted in one stock unit.")),
            Word(_("Identifier"), _("A code that means an item. One item may have several: AN470AD4-6 and MS20470AD4-6 are one rivet.")),
            Word(
                _("Lot"),
                _("A quantity of one item with one history: when it was made, opened, when it expires, and whether it may be used."),
            ),
            Word(_("Place"), _("Where a lot lies. Places nest: a hangar has racks, a rack has drawers.")),
            Word(
                _("Movement"),
                _("One line of the ledger: so much of a lot from here to there, by whom, when. It is never changed, only reversed."),
            ),
            Word(_("Holding"), _("What a place holds of a lot now: the sum of its movements.")),
            Word(_("Set-aside"), _("A part of a lot that is held for one step. Other steps can't count on it.")),
            Word(_("Label"), _("What is printed for a bag, a lot or a place, with a code to scan.")),
        ),
    ),
    Chapter(
        _("What was sent"),
        (
            Word(_("Crate"), _("What a sender sends at once.")),
            Word(_("Bag"), _("A part of a crate. A bag may hold bags.")),
            Word(_("Packing line"), _("One line of the sender's list: what should be in a bag, and how much.")),
            Word(_("Tally"), _("The count of a bag against its packing lines: found, short, over, damaged or a mystery.")),
            Word(_("Claim clock"), _("The days left to tell a sender what is missing or broken.")),
        ),
    ),
    Chapter(
        _("What is built"),
        (
            Word(_("Project"), _("One aeroplane.")),
            Word(_("Section"), _("A chapter of its plans.")),
            Word(_("Step"), _("One instruction of the plans. It may have to wait until other steps are done.")),
            Word(_("Call-out"), _("What a step needs of an item.")),
            Word(
                _("Rivet row"), _("A line of holes in a step: which rivet, how many holes, how thick the metal, how far apart the clecos.")
            ),
            Word(_("Seam"), _("A sealed joint in a step: its shape, its length, its sealant.")),
            Word(_("Pin peak"), _("The most clecos of one size that are held at once.")),
            Word(_("Seal day"), _("A planned day of sealing: its steps, its batches, its people and the lots to mix.")),
            Word(_("Batch"), _("What is mixed at once: base and accelerator in the product's own ratio.")),
            Word(_("Blank"), _("Sheet stock to cut.")),
            Word(_("Piece"), _("What a step needs from a blank.")),
        ),
    ),
    Chapter(
        _("What is asked"),
        (
            Word(_("Demand"), _("All that the steps still to do need, with the day of each.")),
            Word(_("Netting"), _("Setting needs against lots: needs in time order, first expired first out.")),
            Word(_("Short"), _("What is needed and neither here nor on its way in time.")),
            Word(
                _("Order by"),
                _("The last day on which an order still comes in time: the first day short, less lead time and receiving allowance."),
            ),
            Word(_("Last usable day"), _("The day on which a lot's life ends, by the first of the limits that are known.")),
            Word(_("Unknown life"), _("A lot that ages and whose end nobody can tell. It counts for nothing until its dates are read.")),
            Word(
                _("Trace"),
                _("The reasons behind a figure: what went in, which rule, whose rule, and how it was rounded. Pages call it Why."),
            ),
        ),
    ),
    Chapter(
        _("What is closed up and followed"),
        (
            Word(_("Assembly"), _("Pieces that are drilled together and so fit only each other.")),
            Word(_("Mark"), _("What is written on a piece: the number of its position, and a letter where it isn't the first there.")),
            Word(_("Conflict"), _("Text and drawing of the plans disagree. What rests on it is held until somebody settles it.")),
            Word(_("Closing up"), _("Before a section can't be looked into any more: people tick what must be true, or say why not.")),
            Word(
                _("Leak test"),
                _("Readings of a closed tank, beside what a tight one would show at that temperature and barometer. It decides nothing."),
            ),
            Word(
                _("Certain, possible, not"),
                _("How sure it is where a lot went: a record says so; nobody can tell it from others it lay with; neither."),
            ),
            Word(_("Notice"), _("What a maker says of things it sold. It is looked for on every bench and in every aeroplane.")),
            Word(_("Archive"), _("The whole workshop as one file, which loads elsewhere with nothing changed.")),
        ),
    ),
    Chapter(
        _("What is shared and bought"),
        (
            Word(_("Loan"), _("A thing of the pool that somebody has now.")),
            Word(_("Booking"), _("A thing of the pool that is promised for days to come.")),
            Word(_("Offer"), _("What a seller asks for an item.")),
            Word(_("Basket"), _("The offers that were chosen.")),
            Word(_("Order"), _("What was ordered. It is a crate on its way until it arrives.")),
        ),
    ),
)

_LIFE = "the dates on its label, and the lives that the catalogue has of its item"
_NETTED = Reason(
    _("Needs are served in the order of their days. Each takes first what is set aside for it, then the lot that expires first."), RULE
)
_HELD = Reason(_("A thing that comes back is needed for a span. What counts is the most held at once, not the sum."), PEAK)

WORKED_OUT: Mapping[str, tuple[Reason, ...]] = {
    "tonight": (
        Reason(
            _("A step is ready where nothing stands against it. Each is judged alone, as if it were the only one today."), tonight.NETTING
        ),
        Reason(_("All that it comes after is done, and what was sealed there is cured."), tonight.CURES),
        _NETTED,
        Reason(_("Clecos and tools are free where nobody has or booked them, and no done step holds them in its holes."), tonight.THERE),
        Reason(_("Sealant of a seal day is for that day alone, with its temperature entered."), tonight.SEALING),
        Reason(_("Its minutes and people are no more than you have."), tonight.ASKED),
        Reason(_("Free again with a crate, a loan that is due, the end of a booking or a cure, a planned step, or an order."), CATALOGUE),
    ),
    "order-sheet": (
        Reason(
            _("Every step still to do, and all that it waits for, needs its call-outs, rivet rows and seams."),
            f"{CALL_OUT}, its rows and seams",
        ),
        _NETTED,
        _HELD,
        Reason(
            _("Order by = the first day short, less lead time, less the receiving allowance."),
            f"lead_days of {CATALOGUE}; the receiving allowance is a setting of the workshop (3 is our starting value)",
        ),
        Reason(_("What dies is bought no earlier than leaves enough of its life at the last need."), PUBLISHED),
        Reason(_("Where several days are short, the fewest purchases that serve them all are named."), BUNDLING),
        Reason(_("Buy = short, rounded up to whole packs."), f"pack of {CATALOGUE}"),
    ),
    "shelf-life": (
        Reason(
            _("The last usable day is the earliest of: as printed, made + life, opened + open life, and what its storage allows."), _LIFE
        ),
        Reason(
            _("A passed update test adds its part of the life; a failed one ends the batch everywhere."), "the tests that were written down"
        ),
        Reason(_("A missing date is never guessed: a lot of unknown life counts for nothing."), _LIFE),
        Reason(_("A lot dies unused by so much as no step takes while it lives."), f"{RULE}; each project is netted by itself"),
    ),
    "step": (
        Reason(
            _("The step needs its call-outs, the rivets and clecos of its rows, and the grams of its seams."),
            f"{CALL_OUT}, its rows and seams",
        ),
        Reason(_("Clecos = holes / spacing, rounded up. How far apart is the builder's choice."), SPACING_SOURCE),
        Reason(_("Grams of a seam = volume of its shape x specific gravity x count + loss, rounded half up once to 0.001 g."), ARITHMETIC),
        Reason(_("The lots proposed are those that netting gives this step if it is done on that day."), RULE),
    ),
    "pins": (
        _HELD,
        Reason(_("A step holds its clecos on its day, or through the day of the step that frees them."), PLAN),
        Reason(_("Lacking on a day = held - there. The figures are those of the order sheet."), ARITHMETIC),
    ),
    "stock-by-week": (
        Reason(
            _("Left at a week's end = at first + due - what can't serve any more - what steps take. What they don't get is missing."),
            ARITHMETIC,
        ),
        Reason(_("Who gets what is decided as on the order sheet, so all that is missing adds up to its short."), RULE),
        Reason(_("What is set aside for a step that won't take it isn't counted, nor what another bench has."), RULE),
    ),
    "seal-day": (
        Reason(_("Grams to mix = the seams of the day's steps, less what is mixed for them already."), ARITHMETIC),
        Reason(_("A batch is no more than the people there can place within its work life at that temperature."), SHEET),
        Reason(_("Lots already promised to earlier needs are left alone; each batch comes from one lot where one holds it."), ORDER),
        Reason(_("Base and accelerator are parts by weight. The rounding of the scale counts most on the small part."), SHEET),
        Reason(_("What waits for the cure is free once the last batch has had its hours."), f"{SHEET}; {ARITHMETIC}"),
    ),
    "club-day": (
        Reason(_("The steps of the day, of all benches, hold things that come back."), PEAK),
        Reason(_("Who gets what where there isn't enough: own things first, then who has it or booked it, then plan order."), SHARED_OUT),
        Reason(_("Offers change as little as can be: one step on another day, clecos wider, or a thing borrowed."), NEAREST),
        Reason(_("No step goes before what it waits for."), PLAN),
    ),
}

"""What the ledger refuses, and how long its texts may be."""

from inventory.common.problems import Problem

MOST_NAME = 80
MOST_PATH = 400
MOST_CODE = 80
MOST_NOTE = 200
MOST_REF = 60
FAILED_BATCH = "lot {} of {} failed: nothing more of that batch can be taken as good"


class NotEnough(Problem):
    """A place holds less than was to be taken from it."""

    status = 409
    title = "Not enough there"


class SetAsideForOthers(Problem):
    """What is on hand is held for other steps."""

    status = 409
    title = "Set aside for other steps"


class NotUsable(Problem):
    """A lot that must not be used on that day."""

    status = 409
    title = "This lot can't be used"


class StaysFailed(Problem):
    """Nobody but an inspector brings a failed lot back."""

    status = 409
    title = "This lot failed"


class AlreadyOpen(Problem):
    """A second opening would start the opened life anew."""

    status = 409
    title = "Already open"


class AlreadyReversed(Problem):
    """A movement is undone once, and what undid it stays."""

    status = 409
    title = "Already reversed"


class PassedOn(Problem):
    """What passed from bench to bench is two lines of the ledger that stand together."""

    status = 409
    title = "Passed to another bench"


class CutUp(Problem):
    """A saw cut isn't undone."""

    status = 409
    title = "This was cut"


class OtherDates(Problem):
    """One lot code has one set of dates."""

    status = 409
    title = "This lot has other dates"


class BadDates(Problem):
    """Dates that make no sense together."""

    title = "These dates don't do"


class BadPlace(Problem):
    """A place that goods can't lie in, or can't be moved to and from."""

    title = "This place doesn't do"


class PlaceTaken(Problem):
    """A path means one place."""

    status = 409
    title = "There is a place of this name"


class LotInUse(Problem):
    """A lot that was ever moved stays: the ledger names it."""

    status = 409
    title = "This lot is in use"


class PlaceInUse(Problem):
    """A place that goods lie or lay in stays: the ledger names it."""

    status = 409
    title = "This place is in use"

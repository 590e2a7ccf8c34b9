"""What can't be done with a seal day, each with what would do."""

from inventory.common.problems import Problem


class DayOver(Problem):
    """A day that is closed or called off is a record."""

    status = 409
    title = "This seal day is over"


class DayTaken(Problem):
    """A bench has one seal day a date, and a step is in one open seal day."""

    status = 409
    title = "There is a seal day already"


class BadDay(Problem):
    """A seal day that can't be."""

    title = "This seal day doesn't do"


class BatchesMixed(Problem):
    """What was mixed on a day ties it to that day."""

    status = 409
    title = "Batches were mixed on that day"


class NotClosed(Problem):
    """A day can't be closed while something about it isn't said."""

    status = 409
    title = "This seal day can't be closed yet"


class NothingToHold(Problem):
    """No lot is planned, so none is set aside."""

    status = 409
    title = "No lots to set aside"


class OnTheList(Problem):
    """A line stands on a day's list once."""

    status = 409
    title = "On the list already"

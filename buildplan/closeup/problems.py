"""What people can put right about closing a section up, and about leak tests."""

from inventory.common.problems import FieldProblem, Problem


class NotReady(Problem):
    """A point that nobody ticked, and of which nobody said why not."""

    status = 409
    title = "Not ready to close"
    kind = "not-ready-to-close"


class AlreadyClosed(Problem):
    """A section is closed up once, until it is opened again."""

    status = 409
    title = "Closed up already"


class NotClosed(Problem):
    """Only what is closed up can be opened again."""

    status = 409
    title = "It is open"


class InspectorTicks(Problem):
    """That the inspector has seen it says the inspector."""

    status = 403
    title = "An inspector ticks this"


class NoSuchPoint(FieldProblem):
    """A point that the list hasn't, or has no more."""

    status = 409
    title = "The list has changed"


class ThereAlready(FieldProblem):
    """A point that the list has already."""

    status = 409
    title = "There already"


class KeyUsed(Problem):
    """A form's key that stands for something else already."""

    status = 409
    title = "This form was used before"


class StruckAlready(Problem):
    """A reading that was struck out is a record."""

    status = 409
    title = "Struck out already"

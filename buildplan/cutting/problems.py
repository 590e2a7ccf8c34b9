"""What cutting refuses."""

from inventory.common.problems import Problem


class CutOver(Problem):
    """A cut that is sawn, or was given up, is a record."""

    status = 409
    title = "This cut is over"


class CutHere(Problem):
    """A piece that a cut was planned for, or a blank that was cut, stays: the record names it."""

    status = 409
    title = "This was cut"


class NotThatMany(Problem):
    """More pieces than are wanted, or than were sawn."""

    status = 409
    title = "Not that many"


class DoesNotFit(Problem):
    """The blank doesn't give these pieces."""

    status = 409
    title = "It doesn't fit"


class BlankPromised(Problem):
    """All of this blank is promised already."""

    status = 409
    title = "This blank is promised"


class Strands(Problem):
    """The cut would leave pieces without material that have some now."""

    status = 409
    title = "This strands other pieces"
    kind = "stranding"

"""What can't be done with a notice, as sentences."""

from inventory.common.problems import Problem


class NoticeInUse(Problem):
    """A notice of which something was looked at or written stays."""

    status = 409
    title = "This notice stays"


class AlreadyTicked(Problem):
    """Somebody has looked at it."""

    status = 409
    title = "Looked at already"


class NotTicked(Problem):
    """There is no tick to take back."""

    status = 409
    title = "Nobody has ticked it"


class NotOnShelf(Problem):
    """Only what lies on a shelf as good is put into quarantine."""

    status = 409
    title = "Nothing to put into quarantine"


class NotSwept(Problem):
    """A letter tells what a sweep found."""

    status = 409
    title = "Sweep first"

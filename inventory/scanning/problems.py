"""What a scan may be answered instead of what it did."""

from typing import Any

from inventory.common.documents import document
from inventory.common.problems import Problem

TYPE = "urn:rivetloft:problem:"


class ScanProblem(Problem):
    """Something wrong with one scan; `members` stand in its problem document beside the sentence."""

    status = 422
    kind = "scan"

    def __init__(self, text: str, **members: Any) -> None:
        """Say `text`."""
        super().__init__(text)
        self.members = members


class UnknownCode(ScanProblem):
    """A code that means nothing in this workshop, and can be taught."""

    kind = "unknown-code"
    title = "This code is not known here"


class UnreadableCode(ScanProblem):
    """A code that a scanner read in part, or that is broken."""

    kind = "unreadable-code"
    title = "This code doesn't read cleanly"


class WrongThing(ScanProblem):
    """A code that means something with which this can't be done."""

    kind = "wrong-thing"
    title = "This can't be done with that"


class Choose(ScanProblem):
    """More than one thing may be meant: `choices` lists them."""

    status = 409
    kind = "choose"
    title = "More than one thing may be meant"


class NothingThere(ScanProblem):
    """Nothing of it lies where it was looked for; `choices` says where some does."""

    status = 409
    kind = "nothing-there"
    title = "Nothing of it is there"


class Blocked(ScanProblem):
    """A lot that must not be used: `lift` says what would allow it, `choices` which other lots would do."""

    status = 409
    kind = "blocked"
    title = "This lot can't be used"


class UnknownPlace(ScanProblem):
    """A place or bag that isn't there; `near` lists what is written alike."""

    kind = "unknown-place"
    title = "This place is not known here"


class Missing(ScanProblem):
    """Something that this action needs."""

    kind = "missing"
    title = "Something is missing"


class WrongClock(ScanProblem):
    """A device whose clock can't be corrected by what it says."""

    kind = "clock"
    title = "The device's clock is wrong"


class UuidReused(ScanProblem):
    """The uuid stood for another scan before."""

    status = 409
    kind = "uuid-reused"
    title = "This uuid was used before"


class LetGo(ScanProblem):
    """A conflict that a person decided against."""

    status = 409
    kind = "let-go"
    title = "Let go"


class Busy(ScanProblem):
    """Others were at the same rows again and again."""

    status = 503
    kind = "busy"
    title = "Too busy just now"


class AlreadySettled(ScanProblem):
    """A conflict is settled once."""

    status = 409
    kind = "settled"
    title = "Settled already"


class AlreadyUndone(ScanProblem):
    """A scan is undone once."""

    status = 409
    kind = "undone"
    title = "Undone already"


class NotUndone(ScanProblem):
    """A scan that changed nothing, or nothing that can be taken back."""

    status = 409
    kind = "not-undone"
    title = "Nothing to undo"


def as_document(problem: Problem) -> dict[str, Any]:
    """The problem document of any problem."""
    members = dict(getattr(problem, "members", {}))
    if isinstance(problem, ScanProblem):
        members["type"] = TYPE + problem.kind
    return document(problem.status, problem.title, str(problem), **members)

"""What people can put right about hands, conflicts and match marks."""

from inventory.common.problems import FieldProblem, Problem


class StepHeld(Problem):
    """The step rests on a conflict of text and drawing that isn't settled."""

    status = 409
    title = "Held by a conflict"
    kind = "held-by-conflict"


class NoPair(FieldProblem):
    """Two items that can't be a mirrored pair, or false mirrors."""

    status = 409
    title = "No pair"


class HandTaken(FieldProblem):
    """A hand that the item's partner rules out."""

    status = 409
    title = "Its partner says otherwise"


class AlreadySettled(Problem):
    """A conflict is settled once, until it is opened again."""

    status = 409
    title = "Already settled"


class NotSettled(Problem):
    """Only what is settled can be opened again."""

    status = 409
    title = "Not settled"


class NothingToGoBy(FieldProblem):
    """Settling without the maker's answer takes a word on what it rests on."""

    title = "What does it rest on?"


class DayAhead(FieldProblem):
    """What was said, decided or done has a day that is over."""

    title = "Still to come"


class ElsewhereRow(FieldProblem):
    """A step or position of another project or assembly."""

    title = "Not of this one"


class PositionTaken(Problem):
    """A position holds one piece."""

    status = 409
    title = "There is a piece already"


class PieceGone(Problem):
    """A piece that was replaced or taken away."""

    status = 409
    title = "This piece is gone"


class NameTaken(FieldProblem):
    """A name or a number that is there already."""

    status = 409
    title = "There already"


class NoPiece(FieldProblem):
    """Nobody could say which piece is meant, or why it is here."""

    title = "Which piece?"


class InUse(Problem):
    """A position that pieces were marked for is part of the record."""

    status = 409
    title = "Part of the record"

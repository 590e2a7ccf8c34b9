"""The invented scenario in a workshop of one's own, to try things with, and its files, to see how ours are written."""

from datetime import date
from itertools import islice
from pathlib import Path

from django.conf import settings
from django.db import transaction

from buildplan.loading import demo
from buildplan.plan.models import Project
from inventory.common.problems import Problem
from inventory.models import Crate, Item, Lot, Member
from inventory.workshop import policy
from inventory.workshop.services import lock

MOST_LINES = 25  # of a file to look at, its header among them
FILES = {
    "catalogue": "catalogue.csv",
    "stock": "stock-tern.csv",
    "packing": "packing.csv",
    **{table: f"plan-tern/{table}.csv" for table in ("steps", "needs", "rows", "seams")},
    **{table: f"plan-tips/{table}.csv" for table in ("blanks", "pieces")},
    **{table: f"plan-tips/{table}.csv" for table in ("blanks", "pieces")},
}


class NotEmpty(Problem):
    """The example is for a workshop with nothing in it."""

    status = 409
    title = "There is something here already"

    def __init__(self) -> None:
        """Say what to do."""
        super().__init__("the example is only for a workshop with nothing in it, so that it never gets among your own things")


@transaction.atomic
def load_example(*, by: Member, today: date) -> None:
    """Load the scenario into the member's own workshop, all of it or nothing. Refuses one that isn't empty. It stays: a ledger is kept."""
    policy.require(by, "manage")
    lock(by.workshop)
    if not is_empty():
        raise NotEmpty
    demo.load_files(folder(), code=by.workshop.code, today=today, by=by)
    demo.furnish(by, today)


def is_empty() -> bool:
    """Whether the workshop in scope has nothing that the example could get among. Four queries at most."""
    return not any(model.objects.exists() for model in (Item, Lot, Crate, Project))


def file_of(table: str) -> str:
    """The first lines of the scenario's file of a table."""
    with (folder() / FILES[table]).open(encoding="utf-8") as lines:
        return "".join(islice(lines, MOST_LINES))


def folder() -> Path:
    """Where the scenario's files are."""
    return Path(settings.BASE_DIR) / "fixtures"

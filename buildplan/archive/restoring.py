"""Loading an archive into a workshop that isn't there yet: all of it or nothing, and nothing changed but ids.

Twice through the files. The first time every table is held against the manifest and its ids are gathered; then each gets a new one, so that
it no longer matters in which order tables are written. The second time rows are read, put through the new ids and written.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django_scopes import scope, scopes_disabled

from buildplan.archive import kinds
from buildplan.archive.accounts import ensure_accounts
from buildplan.archive.inserting import Into, Rows
from buildplan.archive.looking import Look, Plan
from buildplan.archive.opening import Archive, opened
from buildplan.archive.problems import BadArchive
from buildplan.archive.renaming import Readers
from inventory.common.fields import plain
from inventory.common.texts import filled
from inventory.models import Member, User, Workshop
from inventory.stock.queries import ledger_errors
from inventory.workshop.services import hand, set_member

MOST_CODE = 40
Told = Callable[[int], None]


@dataclass(frozen=True, slots=True)
class Owner:
    """Who is to own the loaded workshop, by their address. `name` is for somebody who is no member in the archive."""

    email: str
    name: str = ""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is loaded, and how. `code` is the workshop's here, where it shall not be that of the archive.

    `link` makes people who have an account here already members by their addresses, with that account. Without it they stop the load:
    an archive may name anybody.
    """

    path: Path
    code: str = ""
    link: bool = False
    owner: Owner | None = None
    dry_run: bool = False


@dataclass(frozen=True, slots=True)
class Restored:
    """What was loaded, or would be."""

    workshop: Workshop
    saved_at: str
    rows: Mapping[str, int]
    photos: int
    accounts: Sequence[str]
    warnings: Sequence[str]
    dry_run: bool

    def as_object(self) -> dict[str, Any]:
        """For a program."""
        told = {"workshop": self.workshop.code, "saved_at": self.saved_at, "rows": sum(self.rows.values()), "photos": self.photos}
        return {
            **told,
            "accounts": list(self.accounts),
            "warnings": list(self.warnings),
            "dry_run": self.dry_run,
            "tables": dict(self.rows),
        }


def restore(*, asked: Asked, told: Told | None = None) -> Restored:
    """Load an archive. Everything that is wrong with it is told at once (`BadArchive`), and nothing is kept then.

    The members' accounts are made without a password where their addresses have none here: nobody signs in by being in an archive, only
    by a link that an owner, or who runs the site, gives them, or that is sent to their own address.
    """
    with opened(asked.path) as archive:
        written: list[Path] = []
        try:
            with transaction.atomic(durable=True):
                found = _Restoring(archive, asked, told, written).run()
                if asked.dry_run:
                    transaction.set_rollback(True)
        except BaseException:
            for path in written:
                path.unlink(missing_ok=True)
            raise
    return found


class _Restoring:
    """One load of an archive, in a transaction that somebody else holds. `written` gathers the files that it writes."""

    def __init__(self, archive: Archive, asked: Asked, told: Told | None, written: list[Path]) -> None:
        self._archive, self._asked, self._told, self._written = archive, asked, told, written
        self._look = Look(archive)
        self._done = 0

    def run(self) -> Restored:
        said, look = self._archive.manifest, self._look
        code = filled("workshop code", self._asked.code or said.code, MOST_CODE)
        _refuse_taken(code)
        plans = look.run()
        look.take_numbers(plans)
        look.refuse_faults()
        accounts, made = ensure_accounts(look, plans, link=self._asked.link, owner=self._owner)
        into = Into(look, self._the_workshop(), code, self._tell)
        self._write(plans, into, Readers(look, accounts))
        workshop = Workshop.objects.get(pk=into.workshop)
        self._prove(workshop)
        made += self._own(workshop)
        if not self._asked.dry_run:
            self._keep_photos(into.pictures)
        rows = {label: file.rows for label, file in said.tables.items()}
        return Restored(workshop, said.saved_at, rows, len(said.photos), made, look.problems.warnings, self._asked.dry_run)

    @property
    def _owner(self) -> str:
        """The address of who is to own it, blank where nobody is named."""
        return self._asked.owner.email.strip().lower() if self._asked.owner else ""

    def _write(self, plans: Sequence[Plan], into: Into, readers: Readers) -> None:
        for plan in plans:
            Rows(into, plan, readers.of(plan)).write()
        self._look.refuse_faults()
        for numbers in self._look.numbers.values():
            numbers.settle()

    def _the_workshop(self) -> int:
        """The new id of the one workshop of the archive."""
        file = self._archive.manifest.tables[kinds.WORKSHOP]
        if file.rows != 1:
            raise BadArchive(f"{file.name}: {file.rows} rows, and an archive is of one workshop")
        rows = self._archive.rows(file)
        header = next(rows)[1]
        old = int(next(rows)[1][header.index("id")])
        return self._look.numbers[kinds.WORKSHOP].any(old)

    def _tell(self, rows: int) -> None:
        self._done += rows
        if self._told is not None:
            self._told(self._done)

    def _prove(self, workshop: Workshop) -> None:
        """Holdings are the sums of their movements."""
        for error in ledger_errors(workshop):
            self._look.problems.add_error(
                f"lot {error.lot or error.lot_id} of {error.item} in {error.place}: the holding says {plain(error.holding)}, "
                f"and its movements add up to {plain(error.movements)}"
            )
        self._look.refuse_faults()

    def _own(self, workshop: Workshop) -> list[str]:
        """Make who loads an owner; gives their address where an account was made for them."""
        owner = self._asked.owner
        if owner is None:
            return []
        address = self._owner
        new = not User.objects.filter(email=address).exists()
        with scope(workshop=workshop):
            member = Member.objects.filter(user__email=address).first()
        if member is None or member.role != "owner" or not member.active:
            name = member.name if member else owner.name or address.partition("@")[0]
            set_member(email=address, workshop=workshop, name=name, role="owner", by=hand(workshop))
        return [address] if new else []

    def _keep_photos(self, pictures: Mapping[str, Sequence[str]]) -> None:
        """Last of all: the files. Each is hashed once more as it is copied."""
        for digest, names in pictures.items():
            for name in names:
                path = Path(settings.MEDIA_ROOT) / name
                path.parent.mkdir(parents=True, exist_ok=True)
                self._written.append(path)
                with path.open("xb") as file:
                    for piece in self._archive.photo(self._archive.manifest.photos[digest]):
                        file.write(piece)


def _refuse_taken(code: str) -> None:
    with scopes_disabled():
        there = Workshop.objects.filter(code__iexact=code).first()
    if there is not None:
        raise BadArchive(
            f"the workshop {there.code} is here already: an archive is loaded where no such workshop is, never over one. "
            "Load it into another database, or under another code with --as CODE"
        )

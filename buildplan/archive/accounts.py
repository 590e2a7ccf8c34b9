"""The accounts of an archive's members: an archive has their addresses and nothing that lets anybody in."""

from collections.abc import Sequence

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from buildplan.archive import kinds
from buildplan.archive.cells import shown
from buildplan.archive.looking import Look, Plan
from buildplan.archive.problems import BadArchive
from buildplan.archive.tables import Kind
from inventory.models import User

MOST_EMAIL = 254


def ensure_accounts(look: Look, plans: Sequence[Plan], *, link: bool, owner: str) -> tuple[dict[str, int], list[str]]:
    """The accounts of all addresses, and those that were made, without a password: nobody signs in with one until they are let in.

    An address that has an account here is refused unless `link` says that it is meant, or it is the `owner`'s.
    """
    addresses = _addresses(look, next(plan for plan in plans if plan.table.label == kinds.MEMBER))
    look.refuse_faults()
    there = dict(User.objects.filter(email__in=addresses).values_list("email", "pk"))
    if (strangers := sorted(set(there) - {owner})) and not link:
        raise BadArchive(
            f"{', '.join(strangers)}: an account is here already under the address of a member of the archive. "
            "Say --link to make them members of the loaded workshop with that account"
        )
    made = [address for address in addresses if address not in there]
    return {**there, **{address: User.objects.create_user(address).pk for address in made}}, made


def _addresses(look: Look, plan: Plan) -> list[str]:
    at = next((at for at, column in enumerate(plan.columns) if column.kind is Kind.ACCOUNT), None)
    found: dict[str, int] = {}
    for line, cells in look.lines(plan.file):
        if at is None or not (address := cells[at]):
            continue
        if fault := _address_fault(address) or (f"the same as in line {found[address]}" if address in found else ""):
            look.problems.add_error(f"{plan.file.name}:{line}: user: {shown(address)} {fault}")
        found[address] = line
    return list(found)


def _address_fault(address: str) -> str:
    try:
        validate_email(address)
    except ValidationError:
        return "is no e-mail address"
    return "" if address == address.lower() and len(address) <= MOST_EMAIL else "is not as addresses are kept"

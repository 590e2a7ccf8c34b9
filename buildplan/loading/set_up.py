"""The first workshop of a site and its owner. Who can run a command on the site's machine has the code that lets one in, once."""

from datetime import timedelta

from django.contrib.contenttypes.models import ContentType
from django.core import signing
from django.db import transaction
from django_scopes import scopes_disabled

from buildplan.loading.targets import FIRST_BENCH
from inventory.common.problems import FieldProblem
from inventory.models import User, Workshop
from inventory.workshop.services import ensure_bench, ensure_workshop, hand, set_member, set_password

LASTS = timedelta(hours=1)  # of a code: a starting value of ours
_SALT = "buildplan.loading.set_up"
_SAYS = "set up"


def is_open() -> bool:
    """Whether the site has nobody and nothing yet. Two queries."""
    return not (User.objects.exists() or Workshop.objects.exists())


def code() -> str:
    """A code for the page, good for an hour and until somebody is there. It is signed, so nothing of it has to be kept."""
    return signing.dumps(_SAYS, salt=_SALT)


@transaction.atomic
def make_first(  # noqa: PLR0913 - what the form asks
    *, code: str, workshop: str, workshop_name: str, name: str, email: str, password: str
) -> User:
    """Make the workshop with one bench, and its owner. Refuses a code that isn't good, and a site where anybody is already."""
    _check(code)
    # A row that every site has: of two at once the second sees what the first has made.
    ContentType.objects.select_for_update(no_key=True).get(app_label="inventory", model="user")
    if not is_open():
        raise FieldProblem("code", "somebody has set this site up already: sign in")
    made, _ = ensure_workshop(code=workshop, name=workshop_name)
    ensure_bench(workshop=made, code=FIRST_BENCH, by=hand(made))
    member, _ = set_member(email=email, workshop=made, name=name, role="owner", by=hand(made))
    with scopes_disabled():  # the user is nobody's but their own
        user = User.objects.get(memberships=member)
    set_password(user=user, password=password)
    return user


def _check(code: str) -> None:
    try:
        said = signing.loads(code.strip(), salt=_SALT, max_age=LASTS)
    except signing.BadSignature as error:
        raise FieldProblem("code", "this code isn't good, or no longer: manage.py set_up prints another") from error
    if said != _SAYS:
        raise FieldProblem("code", "this code is for something else: manage.py set_up prints one")

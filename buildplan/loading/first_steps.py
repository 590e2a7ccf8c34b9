"""The first steps of a new workshop: what is there already, and what comes next. Nothing is ticked that isn't there."""

from dataclasses import dataclass

from django.db import transaction
from django.db.models import Exists
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from buildplan.loading.models import StepsHidden
from buildplan.plan.models import Step
from inventory.models import Crate, Holding, Invitation, Item, Label, Member, Scan, Workshop
from inventory.workshop import policy


@dataclass(frozen=True, slots=True)
class FirstStep:
    """One step: what it is for, whether it is done, and the one page that does it."""

    title: str | Promise
    text: str | Promise
    done: bool
    label: str | Promise
    link: str
    right: str  # what it takes


@dataclass(frozen=True, slots=True)
class FirstSteps:
    """All of them as they stand. `hidden` says that this member wants to be led no more."""

    steps: tuple[FirstStep, ...]
    empty: bool
    planned: bool
    hidden: bool

    @property
    def done(self) -> int:
        """How many are done."""
        return sum(step.done for step in self.steps)

    @property
    def next(self) -> FirstStep | None:
        """The first that isn't done."""
        return next((step for step in self.steps if not step.done), None)


# What is asked of the workshop, and the page that does it: name, title, text, what the link says, URL, its query.
_STEPS = (
    ("items", _("What there is"), _("the catalogue: each part, rivet and tool, and its unit"), _("Load a catalogue"), "load", "catalogue"),
    ("held", _("What lies where"), _("the stock on your shelves, by place and lot"), _("Load the stock"), "load", "stock"),
    ("planned", _("What is to be done"), _("the steps of your plan, and what each needs"), _("Load a plan"), "load", "plan"),
    ("crates", _("What is on its way"), _("the packing list of a crate, to count it against"), _("Load a packing list"), "load", "packing"),
    ("labels", _("A first label"), _("for a drawer or a bag, so that a phone finds it"), _("Print labels"), "labels", ""),
    ("scanned", _("A first scan"), _("scan that label, or type what stands on it"), _("Scan"), "scan", ""),
    ("others", _("Others"), _("whoever builds with you, keeps the stock or inspects"), _("Invite somebody"), "invite", ""),
)  # fmt: skip


def first_steps(member: Member) -> FirstSteps:
    """How far the workshop in scope is, for a member. One query."""
    others = Member.objects.filter(active=True).exclude(user=None).exclude(pk=member.pk)
    asked = {
        "items": Exists(Item.objects.all()),
        "held": Exists(Holding.objects.all()),
        "planned": Exists(Step.objects.all()),
        "crates": Exists(Crate.objects.all()),
        "labels": Exists(Label.objects.all()),
        "scanned": Exists(Scan.objects.all()),
        "invited": Exists(Invitation.objects.all()),
        "joined": Exists(others),
        "hidden": Exists(StepsHidden.objects.filter(member=member)),
    }
    named = {f"has_{name}": one for name, one in asked.items()}
    row = Workshop.objects.filter(pk=member.workshop_id).annotate(**named).values(*named).get()
    found = {name: row[f"has_{name}"] for name in asked}
    found["others"] = found["invited"] or found["joined"]
    steps = tuple(_step(found[name], title, text, label, url, kind) for name, title, text, label, url, kind in _STEPS)
    empty = not any(found[name] for name in ("items", "held", "planned", "crates"))
    return FirstSteps(steps, empty, found["planned"], found["hidden"])


@transaction.atomic
def hide(*, by: Member, hidden: bool) -> None:
    """Lead a member through the steps no more, or again."""
    policy.require(by, "read")
    if hidden:
        StepsHidden.objects.get_or_create(member=by, defaults={"workshop": by.workshop})
    else:
        StepsHidden.objects.filter(member=by).delete()


def _step(done: bool, title: Promise, text: Promise, label: Promise, url: str, kind: str) -> FirstStep:  # noqa: PLR0913 - a row of the table above
    return FirstStep(title, text, done, label, reverse(url) + (f"?kind={kind}" if kind else ""), _RIGHTS.get(url, "read"))


_RIGHTS = {"load": "keep_stock", "invite": "manage"}

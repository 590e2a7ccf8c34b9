"""The first steps: ticked by what is there, the example loaded once and only into nothing; and the first workshop of a site."""

from datetime import date, timedelta
from html import unescape
from http import HTTPStatus
from io import StringIO

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.urls import reverse
from django.utils import timezone
from django_scopes import scope, scopes_disabled

from buildplan.loading import example, first_steps, set_up
from buildplan.models import Project
from inventory.common.problems import FieldProblem
from inventory.models import Crate, Item, Lot, User, Workshop
from inventory.stock.queries import ledger_errors
from inventory.workshop.policy import NotAllowed
from inventory.workshop.services import hand, set_member
from tests import factories

pytestmark = pytest.mark.django_db

TODAY = date(2027, 3, 1)


def ticked(member):
    return [str(step.title) for step in first_steps.first_steps(member).steps if step.done]


def test_nothing_is_ticked_in_an_empty_workshop_whatever_others_have(owner):
    found = first_steps.first_steps(owner)
    assert (found.done, found.empty, str(found.next.title)) == (0, True, "What there is")


def test_steps_are_ticked_by_what_is_there(owner, bench):
    factories.ItemFactory(workshop=owner.workshop)
    assert ticked(owner) == ["What there is"]
    factories.stock(factories.LotFactory(bench=bench, item=Item.objects.get()), 5, by=owner)
    factories.StepFactory(project=factories.ProjectFactory(bench=bench))
    factories.CrateFactory(bench=bench)
    assert ticked(owner) == ["What there is", "What lies where", "What is to be done", "What is on its way"]
    factories.MemberFactory(workshop=owner.workshop)
    factories.LabelFactory(lot=Lot.objects.get())
    assert ticked(owner)[4:] == ["A first label", "Others"]
    assert str(first_steps.first_steps(owner).next.title) == "A first scan"


def test_start_page_takes_one_query_more_than_a_page_with_nothing(owner, queries_of, django_assert_num_queries):
    with django_assert_num_queries(1):
        first_steps.first_steps(owner)
    empty = queries_of(owner, reverse("start"))
    for _ in range(5):
        factories.ItemFactory(workshop=owner.workshop)
        factories.MemberFactory(workshop=owner.workshop)
    assert queries_of(owner, reverse("start")) == empty


def test_steps_are_put_away_for_oneself_alone_and_shown_again(as_member, owner, storekeeper, project):
    client = as_member(owner)
    assert "First steps:" in client.get(reverse("tonight")).content.decode()
    for _ in "ab":  # pressed twice
        assert client.post(reverse("start-hide"), {"hidden": "1"}).url == reverse("home")
    assert "First steps:" not in client.get(reverse("tonight")).content.decode()
    assert not first_steps.first_steps(storekeeper).hidden
    client.post(reverse("start-hide"), {"hidden": "0"})
    assert not first_steps.first_steps(owner).hidden


def test_who_may_not_load_is_not_led(as_member, reader, project):
    assert "First steps:" not in as_member(reader).get(reverse("tonight")).content.decode()


def test_example_is_loaded_once_into_an_empty_workshop_and_no_other_is_touched(as_member, owner, outsider):
    client, people = as_member(owner), User.objects.count()
    assert "Load the example" in client.get(reverse("start")).content.decode()
    assert client.post(reverse("start-example")).url == reverse("start")

    before = (Item.objects.count(), Lot.objects.count(), Project.objects.count(), Crate.objects.count())
    again = client.post(reverse("start-example"), follow=True)
    assert "the example is only for a workshop with nothing in it" in unescape(again.content.decode())
    assert (Item.objects.count(), Lot.objects.count(), Project.objects.count(), Crate.objects.count()) == before
    assert before[2:] == (2, 1)
    assert ledger_errors() == []
    assert Workshop.objects.count() == 2
    assert User.objects.count() == people  # the example invents nobody
    assert client.get(reverse("order-sheet", args=["TERN-1"])).status_code == HTTPStatus.OK
    with scopes_disabled():
        assert Item.objects.filter(workshop=outsider).count() == 1


def test_example_is_the_owner_s_to_load(storekeeper):
    with pytest.raises(NotAllowed):
        example.load_example(by=storekeeper, today=TODAY)


def test_example_refuses_a_workshop_with_anything_in_it(owner, item):
    with pytest.raises(example.NotEmpty):
        example.load_example(by=owner, today=TODAY)


GIVEN = {"workshop": "MARSH", "workshop_name": "Marsh Club", "name": "Wren", "email": "wren@club.example"}
PASSWORD = "a long enough pass phrase"


def post(client, **changes):
    return client.post(reverse("set-up"), {"code": set_up.code(), **GIVEN, "password": PASSWORD, "again": PASSWORD, **changes})


def test_set_up_makes_the_first_workshop_and_signs_its_owner_in_once(client):
    out = StringIO()
    call_command("set_up", stdout=out)
    address = out.getvalue().split()[4]
    shown = client.get(address.partition("8000")[2])
    code = shown.context["form"]["code"].value()

    answer = post(client, code=code)

    assert answer.url == reverse("start")
    workshop = Workshop.objects.get()
    with scope(workshop=workshop):
        assert list(workshop.benches.values_list("code", flat=True)) == ["MAIN"]
        assert workshop.members.exclude(user=None).get().role == "owner"
    assert client.get(reverse("start")).status_code == HTTPStatus.OK
    assert client.get(reverse("set-up")).status_code == HTTPStatus.NOT_FOUND
    assert post(client, email="other@club.example").status_code == HTTPStatus.NOT_FOUND
    with pytest.raises(CommandError, match="people or workshops already"):
        call_command("set_up")


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"code": "made-up"}, "this code isn't good"),
        ({"again": "something else entirely"}, "The two passwords differ."),
        ({"password": "short", "again": "short"}, "too short"),
        ({"email": "nobody"}, "valid email"),
    ],
)
def test_set_up_refuses_and_keeps_what_was_typed(client, changes, said):
    answer = post(client, **changes)
    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    text = unescape(answer.content.decode())
    assert said in text
    assert 'value="Marsh Club"' in text
    assert not Workshop.objects.exists()
    assert not User.objects.exists()


def test_code_of_set_up_ends_after_an_hour_and_where_somebody_is_there(client):
    code, given = set_up.code(), {**GIVEN, "password": PASSWORD}
    with time_machine.travel(timezone.now() + timedelta(minutes=61)), pytest.raises(FieldProblem, match="no longer"):
        set_up.make_first(code=code, **given)
    workshop = factories.WorkshopFactory()
    set_member(email="first@club.example", workshop=workshop, name="First", role="owner", by=hand(workshop))
    with pytest.raises(FieldProblem, match="set this site up already"):
        set_up.make_first(code=set_up.code(), **given)

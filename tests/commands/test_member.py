"""`manage.py member`, called as pinned."""

import re

import pytest
from django.utils.http import urlsafe_base64_decode

from inventory.models import Member, User
from inventory.workshop.services import use_sign_in_link
from tests import factories, loads
from tests.loads import run

ANN = "ann@club.example", "--workshop", "MARSH", "--name", "Ann", "--role"


def link_in(out):
    """The user's key and the token of the link that was printed."""
    [(uid, token)] = re.findall(r"http://127\.0\.0\.1:8000/sign-in/link/([^/\s]+)/([^/\s]+)/", out)
    return urlsafe_base64_decode(uid).decode(), token


def test_member_makes_a_member_and_a_link_that_works_once(workshop, monkeypatch):
    monkeypatch.delenv("RIVETLOFT_ADDRESS", raising=False)
    found = run("member", *ANN, "owner")
    assert (found.code, found.out.splitlines()[0]) == (0, "made: Ann, owner in MARSH")
    member = Member.objects.select_related("user").get(name="Ann")
    assert (member.role, member.user.email, member.user.has_usable_password()) == ("owner", "ann@club.example", False)
    uid, token = link_in(found.out)
    assert use_sign_in_link(uid, token) == member.user
    assert use_sign_in_link(uid, token) is None


def test_member_changes_a_member(workshop, owner):
    run("member", *ANN, "builder")
    found = run("member", "Ann@Club.Example", "--workshop", "marsh", "--name", "Ann B.", "--role", "reader")
    assert found.out.splitlines()[0] == "changed: Ann B., reader in MARSH"
    assert Member.objects.filter(user__email="ann@club.example").values_list("name", "role").get() == ("Ann B.", "reader")


def test_member_takes_the_address_of_the_site_from_the_environment(workshop, monkeypatch):
    monkeypatch.setenv("RIVETLOFT_ADDRESS", "https://loft.example/")
    assert "sign in once at https://loft.example/sign-in/link/" in run("member", *ANN, "owner").out


def test_member_of_a_person_from_elsewhere_leaves_them_there(workshop, outsider):
    email = User.objects.filter(memberships__workshop=outsider).first().email
    run("member", email, "--workshop", "MARSH", "--name", "Guest", "--role", "reader")
    assert Member.objects.get(name="Guest").user.memberships.count() == 1  # of ours: the scope shows no other
    assert User.objects.filter(email=email).count() == 1


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("ann@club.example", "--workshop", "MARCH"), "no workshop MARCH: the workshops are MARSH, OUTSIDE"),
        (("ann", "--workshop", "MARSH"), "ann is no e-mail address"),
        (("ann@club.example", "--workshop", "MARSH", "--name", " "), "the name is blank"),
    ],
)
def test_member_of_what_makes_no_sense_is_1_and_writes_nothing(workshop, arguments, told):
    before = loads.row_counts()
    found = run("member", *arguments, *(() if "--name" in arguments else ("--name", "Ann")), "--role", "owner")
    assert (found.code, found.out) == (1, "")
    assert found.err.startswith(told)
    assert loads.row_counts() == before


def test_member_of_no_such_role_is_wrong_usage(workshop):
    assert run("member", *ANN, "king").err.startswith("Error: argument --role: invalid choice: 'king'")


def test_member_does_not_take_the_role_from_the_last_owner(workshop):
    run("member", *ANN, "owner")
    assert run("member", *ANN, "reader").code == 1
    factories.MemberFactory(workshop=workshop, role="owner")
    assert run("member", *ANN, "reader").code == 0

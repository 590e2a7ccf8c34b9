"""Pages of members: the list, roles, holders, invitations and joining."""

import re
from http import HTTPStatus

import pytest
from django.contrib.auth import SESSION_KEY
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django.utils.html import escape
from django_scopes import scopes_disabled

from inventory.models import BenchHolder, Invitation, Member, User
from inventory.workshop import invitations, memberships, policy, services, tokens
from inventory.workshop.models import Role
from tests import factories

PASSWORD = "a long way to the sea"
ACCOUNT = {"name": "Wren", "email": "wren@club.example", "password": PASSWORD}


def give(client, name, said, *args):
    return client.post(reverse(name, args=args), said)


@pytest.fixture
def invite(as_member, owner):
    """Invites by the page; gives the link's path."""

    def invite(**said):
        start = tokens.make_prefix(tokens.INVITATION)
        page = give(as_member(owner), "invite", {"name": "Wren", "role": "builder", "start": start, **said})
        return re.search(r"http://testserver(/join/[^<]+)<", page.content.decode())[1]

    return invite


class TestMembers:
    def test_list_tells_who_works_here_and_whose_each_bench_is(self, as_member, owner, builder, bench):
        memberships.set_holders(bench=bench, members=[builder], by=owner)

        page = as_member(builder).get(reverse("members")).content.decode()

        assert f"<strong>{bench.name}</strong>: {builder.name}" in page
        assert owner.name in page
        assert owner.user.email not in page
        assert "Invite somebody" not in page

    def test_owner_sees_addresses_and_invitations(self, as_member, owner, invite):
        invite(email="wren@club.example")

        page = as_member(owner).get(reverse("members")).content.decode()

        assert owner.user.email in page
        assert "<strong>Wren</strong>, builder: until" in page

    def test_list_takes_as_many_queries_for_many(self, queries_of, owner, builder, bench, workshop):
        memberships.set_holders(bench=bench, members=[builder], by=owner)
        one = queries_of(owner, reverse("members"))
        for _ in range(5):
            member, other = factories.MemberFactory(workshop=workshop, role="builder"), factories.BenchFactory(workshop=workshop)
            memberships.set_holders(bench=other, members=[member, builder], by=owner)
            secret = tokens.make_prefix(tokens.INVITATION)
            invitations.invite(name="Wren", role="builder", bench=other, prefix=secret, now=timezone.now(), by=owner)

        assert queries_of(owner, reverse("members")) == one

    def test_roles_page_is_the_table_that_is_asked(self, as_member, reader):
        page = as_member(reader).get(reverse("roles")).content.decode()

        for name, roles in policy.PERMISSIONS.items():
            row = page[page.index(escape(policy.MEANINGS[name])) :].split("</tr>")[0]
            cells = re.findall(r'data-label="(\w+)">(?:<strong>)?(yes|no)', row)
            assert cells == [(role.value, "yes" if role in roles else "no") for role in Role], name

    def test_owner_changes_a_role(self, as_member, owner, builder):
        page = as_member(owner).post(reverse("member", args=[builder.pk]), {"name": "Wren", "role": "inspector"}, follow=True)

        assert "Wren is inspector now" in page.content.decode()
        assert Member.objects.get(pk=builder.pk).role == "inspector"

    def test_last_owner_s_role_stays_and_the_form_says_why(self, as_member, owner):
        page = give(as_member(owner), "member", {"name": "Ada", "role": "reader"}, owner.pk)

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "is the last owner here" in page.content.decode()

    def test_nobody_else_changes_one(self, as_member, storekeeper, builder):
        client = as_member(storekeeper)

        assert "<form method" not in client.get(reverse("member", args=[builder.pk])).content.decode().split("</main>")[0]
        assert give(client, "member", {"name": "X", "role": "owner"}, storekeeper.pk).status_code == HTTPStatus.FORBIDDEN

    def test_hand_of_the_workshop_has_no_page(self, as_member, owner, workshop):
        hand = services.hand(workshop)

        assert as_member(owner).get(reverse("member", args=[hand.pk])).status_code == HTTPStatus.NOT_FOUND
        assert "command line" not in as_member(owner).get(reverse("members")).content.decode()


class TestHolders:
    def test_owner_gives_a_bench_to_two(self, as_member, owner, builder, storekeeper, bench):
        page = as_member(owner).post(reverse("bench-holders", args=[bench.pk]), {"members": [builder.pk, storekeeper.pk]}, follow=True)

        assert f"{bench.name} is held by" in page.content.decode()
        assert {row.member for row in BenchHolder.objects.all()} == {builder, storekeeper}

    def test_nobody_ticked_makes_it_anybody_s(self, as_member, owner, builder, bench):
        memberships.set_holders(bench=bench, members=[builder], by=owner)

        page = as_member(owner).post(reverse("bench-holders", args=[bench.pk]), {}, follow=True)

        assert "every builder may use it" in page.content.decode()
        assert not BenchHolder.objects.exists()

    def test_outsider_s_member_is_no_choice(self, as_member, owner, bench, outsider):
        with scopes_disabled():
            theirs = Member.objects.filter(workshop=outsider).first()

        assert give(as_member(owner), "bench-holders", {"members": [theirs.pk]}, bench.pk).status_code == HTTPStatus.UNPROCESSABLE_ENTITY

    def test_nobody_else_gives_one(self, as_member, storekeeper, bench):
        assert as_member(storekeeper).get(reverse("bench-holders", args=[bench.pk])).status_code == HTTPStatus.FORBIDDEN

    def test_holder_who_left_is_named(self, as_member, owner, builder, bench):
        memberships.set_holders(bench=bench, members=[builder], by=owner)
        Member.objects.filter(pk=builder.pk).update(active=False)

        assert f"{builder.name} held it and left" in as_member(owner).get(reverse("bench-holders", args=[bench.pk])).content.decode()


class TestInvite:
    def test_link_is_shown_once_and_never_cached(self, as_member, owner, invite):
        link = invite()

        page = as_member(owner).get(reverse("members")).content.decode()
        assert link not in page
        assert "no-store" in as_member(owner).get(reverse("invite"))["Cache-Control"]
        assert not mail.outbox

    def test_link_is_mailed_where_that_is_asked(self, as_member, owner):
        start = tokens.make_prefix(tokens.INVITATION)
        said = {"name": "Wren", "role": "builder", "start": start, "email": "wren@club.example", "send": "on"}

        page = give(as_member(owner), "invite", said).content.decode()

        assert "went by mail to wren@club.example" in page
        assert re.search(r"(/join/[^<]+)<", page)[1] in mail.outbox[0].body

    def test_mail_needs_an_address(self, as_member, owner):
        start = tokens.make_prefix(tokens.INVITATION)
        page = give(as_member(owner), "invite", {"name": "Wren", "role": "builder", "start": start, "send": "on"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert not Invitation.objects.exists()

    def test_form_sent_twice_invites_once(self, as_member, owner):
        start = tokens.make_prefix(tokens.INVITATION)
        said = {"name": "Wren", "role": "builder", "start": start}
        give(as_member(owner), "invite", said)

        page = give(as_member(owner), "invite", said)

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "its link was shown then" in page.content.decode()
        assert Invitation.objects.count() == 1

    def test_nobody_else_invites(self, as_member, storekeeper):
        assert as_member(storekeeper).get(reverse("invite")).status_code == HTTPStatus.FORBIDDEN

    def test_withdrawn_one_is_listed_as_such(self, as_member, owner, invite):
        link = invite()
        client = as_member(owner)

        client.post(reverse("withdraw-invitation", args=[Invitation.objects.get().pk]))

        assert "<strong>Wren</strong>, builder: withdrawn" in client.get(reverse("members")).content.decode()
        gone = Client().get(link)
        assert gone.status_code == HTTPStatus.GONE
        assert "This invitation was withdrawn" in gone.content.decode()


class TestJoin:
    def test_new_person_joins_with_an_account_and_is_signed_in(self, invite, bench):
        link, client = invite(bench=bench.pk), Client()
        page = client.get(link)
        assert 'value="Wren"' in page.content.decode()
        assert "no-store" in page["Cache-Control"]

        home = client.post(link, ACCOUNT, follow=True)

        assert "Welcome to Workshop MARSH, Wren: you are builder here." in home.content.decode()
        member = Member.objects.get(user__email="wren@club.example")
        assert client.session[SESSION_KEY] == str(member.user_id)
        assert BenchHolder.objects.get().member == member

    def test_person_who_is_signed_in_joins_and_works_there(self, invite, workshop):
        link, client = invite(), Client()
        with scopes_disabled():
            user = factories.MemberFactory(workshop=factories.WorkshopFactory(code="AAA")).user
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        assert "You are signed in as" in client.get(link).content.decode()

        client.post(link, {"name": "Wren"})

        assert "Workshop MARSH" in client.get(reverse("home")).content.decode().split("<main")[0]

    def test_person_with_an_account_signs_in_and_comes_back(self, invite):
        link, client = invite(), Client()
        user = factories.UserFactory(email="wren@club.example")
        services.set_password(user=user, password=PASSWORD)
        sign_in = re.search(r'href="([^"]+next=[^"]+)"', client.get(link).content.decode())[1]

        answer = client.post(sign_in, {"username": user.email, "password": PASSWORD, "next": link})

        assert answer.url == link

    def test_pressing_twice_joins_once(self, invite):
        link, client = invite(), Client()
        client.post(link, ACCOUNT)

        assert client.post(link, {"name": "Wren"}).url == reverse("home")
        assert Member.objects.filter(user__email="wren@club.example").count() == 1

    def test_used_one_says_so_to_others(self, invite):
        link = invite()
        Client().post(link, ACCOUNT)

        for answer in (Client().get(link), Client().post(link, {**ACCOUNT, "email": "crow@club.example"})):
            assert answer.status_code == HTTPStatus.GONE
            assert "This invitation was used on" in answer.content.decode()
        assert not User.objects.filter(email="crow@club.example").exists()

    def test_expired_one_says_so(self, invite):
        link = invite()
        Invitation.objects.update(made_at="2020-01-01T00:00Z", expires_at="2020-01-08T00:00Z")

        assert "This invitation ended on 2020-01-08" in Client().get(link).content.decode()

    def test_text_that_is_no_secret_says_what_to_do(self, db):
        answer = Client().get(reverse("join", args=["ri_x"]))

        assert answer.status_code == HTTPStatus.GONE
        assert "Ask for it once more" in answer.content.decode()

    @pytest.mark.parametrize(
        ("said", "told"),
        [
            ({"password": "short"}, "at least 12 characters"),
            ({"password": "wren@club.example"}, "too similar"),
            ({"email": "wren"}, "valid email"),
            ({"name": ""}, "This field is required"),
        ],
    )
    def test_what_does_not_do_shows_the_form_again(self, invite, said, told):
        link, client = invite(), Client()

        page = client.post(link, {**ACCOUNT, **said})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert told in page.content.decode()
        assert Invitation.objects.get().used_at is None
        assert not User.objects.filter(email__startswith="wren").exists()

    def test_address_that_has_an_account_is_told_to_sign_in(self, invite):
        factories.UserFactory(email="wren@club.example")

        page = Client().post(invite(), ACCOUNT)

        assert "sign in with it, then open the invitation again" in page.content.decode()

    def test_member_is_told_that_they_are_one(self, as_member, owner, invite):
        page = as_member(owner).post(invite(), {"name": "Ada"})

        assert "You are owner in Workshop MARSH already" in page.content.decode()

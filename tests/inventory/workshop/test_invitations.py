"""Invitations: made, opened, accepted once, withdrawn, expired."""

from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail
from django_scopes import scopes_disabled

from inventory.common.problems import FieldProblem
from inventory.models import BenchHolder, Invitation, Member, User
from inventory.workshop import invitations, memberships, policy, queries, tokens
from inventory.workshop.invitations import AlreadyMember, Gone
from tests import factories

NOW = datetime(2027, 2, 20, 12, 0, tzinfo=UTC)
PASSWORD = "a long way to the sea"


@pytest.fixture
def invite(owner):
    def invite(**said):
        said = {"name": "Wren", "role": "builder", "by": owner, "now": NOW, **said}
        return invitations.invite(prefix=said.pop("prefix", None) or tokens.make_prefix(tokens.INVITATION), **said)

    return invite


@pytest.fixture
def wren(db):
    return factories.UserFactory(email="wren@club.example")


def accept(secret, user, now=NOW):
    return invitations.accept(secret=secret, user=user, name="Wren", now=now)


class TestInvite:
    def test_digest_alone_is_kept(self, invite):
        row, secret = invite()

        kept = Invitation.objects.filter(pk=row.pk).values().get()
        assert kept["digest"] == tokens.read(secret, tokens.INVITATION).digest
        assert secret.startswith(f"{kept['prefix']}_")
        assert not [value for value in kept.values() if secret.split("_")[2] in str(value)]
        assert not hasattr(Invitation.history.model, "digest")

    def test_it_lasts_seven_days(self, invite):
        assert invite()[0].expires_at - NOW == timedelta(days=7)

    @pytest.mark.parametrize("role", ["storekeeper", "builder", "inspector", "reader"])
    def test_owners_alone_invite(self, invite, workshop, role):
        with pytest.raises(policy.NotAllowed):
            invite(by=factories.MemberFactory(workshop=workshop, role=role))

    def test_form_sent_twice_makes_one(self, invite):
        prefix = tokens.make_prefix(tokens.INVITATION)
        invite(prefix=prefix)

        with pytest.raises(invitations.AlreadyMade, match="its link was shown then"):
            invite(prefix=prefix)

    @pytest.mark.parametrize(
        ("said", "told"),
        [
            ({"role": "captain"}, "is no role"),
            ({"email": "wren"}, "is no e-mail address"),
            ({"name": " "}, "name is blank"),
            ({"prefix": "rl_k7m2p9qd"}, "isn't how an invitation's secret starts"),
        ],
    )
    def test_what_makes_no_sense_is_refused(self, invite, said, told):
        with pytest.raises(Exception, match=told):
            invite(**said)

    def test_reader_is_not_invited_to_hold_a_bench_nor_anybody_to_a_shared_one(self, invite, bench, shared_bench):
        with pytest.raises(FieldProblem, match="who uses no stock"):
            invite(role="reader", bench=bench)
        with pytest.raises(FieldProblem, match="everybody's"):
            invite(bench=shared_bench)

    def test_outsider_s_bench_is_out_of_reach(self, invite, outsider):
        with scopes_disabled(), pytest.raises(policy.NotAllowed):
            invite(bench=outsider.benches.get())


class TestAccept:
    def test_person_becomes_what_they_were_invited_as(self, invite, wren, owner, bench):
        row, secret = invite(bench=bench)

        member = accept(secret, wren)

        assert (member.workshop, member.role, member.user, member.active) == (owner.workshop, "builder", wren, True)
        assert BenchHolder.objects.get().member == member
        kept = Invitation.objects.get(pk=row.pk)
        assert (kept.used_at, kept.used_by) == (NOW, member)
        assert Member.history.get(id=member.pk).history_user == owner

    def test_used_one_lets_nobody_else_in(self, invite, wren):
        _, secret = invite()
        accept(secret, wren)

        with pytest.raises(Gone, match="used on 2027-02-20"):
            accept(secret, factories.UserFactory())
        assert Member.objects.filter(role="builder").count() == 1

    @pytest.mark.parametrize(("days", "good"), [(6.99, True), (7, False), (8, False)])
    def test_it_ends_after_seven_days(self, invite, wren, days, good):
        _, secret = invite()
        now = NOW + timedelta(days=days)

        if good:
            accept(secret, wren, now)
        else:
            with pytest.raises(Gone, match="ended on 2027-02-27"):
                accept(secret, wren, now)
        assert Member.objects.filter(user=wren).exists() == good

    def test_withdrawn_one_lets_nobody_in(self, invite, wren, owner):
        row, secret = invite()
        invitations.withdraw(invitation=row, now=NOW, by=owner)

        with pytest.raises(Gone, match="withdrawn on 2027-02-20"):
            accept(secret, wren)

    def test_one_of_an_owner_who_may_no_longer_invite_lets_nobody_in(self, invite, wren, owner, workshop):
        _, secret = invite(role="owner")
        other = factories.MemberFactory(workshop=workshop)
        memberships.change_member(member=owner, name="Ada", role="builder", by=other)

        with pytest.raises(Gone, match="may no longer do so"):
            accept(secret, wren)

    @pytest.mark.parametrize("secret", ["", "ri_k7m2p9qd", "ri_k7m2p9qd_" + "a" * 52, "x" * 500, "ri_k7m2p9qd_" + "é" * 52])
    def test_text_that_is_no_secret_opens_nothing(self, invite, wren, secret):
        invite()

        with pytest.raises(Gone, match="opens no invitation"):
            accept(secret, wren)

    def test_right_start_with_another_rest_opens_nothing(self, invite, wren):
        row, _ = invite()

        with pytest.raises(Gone, match="opens no invitation"):
            accept(f"{row.prefix}_{'a' * 52}", wren)

    def test_token_of_a_device_is_no_invitation(self, owner, wren):
        with pytest.raises(Gone):
            accept(tokens.make(tokens.make_prefix()).text, wren)

    def test_member_needs_none_and_uses_none_up(self, invite, owner, wren):
        _, secret = invite()

        with pytest.raises(AlreadyMember, match="You are owner in"):
            accept(secret, owner.user)
        accept(secret, wren)

    def test_who_left_comes_back_as_who_they_were(self, invite, owner, builder):
        memberships.end(member=builder, forget_name=False, on=NOW.date(), now=NOW, by=owner)
        _, secret = invite(role="reader")

        back = accept(secret, builder.user)

        assert (back.pk, back.role, back.active, back.left_on, back.name) == (builder.pk, "reader", True, None, "Wren")

    def test_new_person_gets_an_account_in_one_go(self, invite):
        _, secret = invite()

        member = invitations.accept_as_new(secret=secret, email="Wren@Club.Example", password=PASSWORD, name="Wren", now=NOW)

        assert member.user.email == "wren@club.example"
        assert member.user.check_password(PASSWORD)

    def test_address_with_an_account_signs_in_first_and_uses_nothing_up(self, invite, wren):
        row, secret = invite()

        with pytest.raises(FieldProblem, match="sign in with it, then open the invitation again"):
            invitations.accept_as_new(secret=secret, email="wren@club.example", password=PASSWORD, name="Wren", now=NOW)
        assert Invitation.objects.get(pk=row.pk).used_at is None

    def test_used_one_makes_no_account(self, invite, wren):
        _, secret = invite()
        accept(secret, wren)

        with pytest.raises(Gone):
            invitations.accept_as_new(secret=secret, email="crow@club.example", password=PASSWORD, name="Crow", now=NOW)
        assert not User.objects.filter(email="crow@club.example").exists()

    def test_secret_costs_one_query_and_a_text_that_is_none_nothing(self, invite, django_assert_num_queries):
        _, secret = invite()

        with django_assert_num_queries(1):
            assert queries.invitation_of(secret).by.workshop.code == "MARSH"
        with django_assert_num_queries(0):
            assert queries.invitation_of("ri_x") is None


class TestWithdraw:
    def test_again_changes_nothing_and_used_ones_stay(self, invite, owner, wren):
        row, _ = invite()
        used, other = invite()
        accept(other, wren)

        invitations.withdraw(invitation=row, now=NOW, by=owner)
        invitations.withdraw(invitation=row, now=NOW + timedelta(days=1), by=owner)
        assert Invitation.objects.get(pk=row.pk).withdrawn_at == NOW
        with pytest.raises(Gone, match="it can't be taken back"):
            invitations.withdraw(invitation=used, now=NOW, by=owner)

    def test_owners_alone_withdraw(self, invite, storekeeper):
        with pytest.raises(policy.NotAllowed):
            invitations.withdraw(invitation=invite()[0], now=NOW, by=storekeeper)


class TestMail:
    def test_it_says_who_invites_where_and_how_long(self, invite, owner):
        row, secret = invite(email="wren@club.example")

        assert invitations.mail(invitation=row, link=f"https://loft.example/join/{secret}/")

        [sent] = mail.outbox
        assert sent.to == ["wren@club.example"]
        assert f"https://loft.example/join/{secret}/" in sent.body
        assert f"{owner.name} invites you to Workshop MARSH" in sent.body
        assert "for 7 days" in sent.body

    def test_server_that_refuses_is_told_of_and_nothing_is_lost(self, invite, settings):
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9  # nobody listens there
        row, _ = invite(email="wren@club.example")

        assert not invitations.mail(invitation=row, link="https://loft.example/join/x/")
        assert Invitation.objects.filter(pk=row.pk).exists()

"""Roles, holders of benches, and the end of a membership."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.contrib.sessions.models import Session
from django_scopes import scopes_disabled

from inventory.common.problems import FieldProblem
from inventory.models import BenchHolder, Device, DigestMail, FeedAddress, Invitation, Member
from inventory.workshop import feeds, invitations, memberships, policy, queries, services, tokens
from inventory.workshop.services import LastOwner, hand, issue_device
from tests import factories

NOW = datetime(2027, 2, 20, 12, 0, tzinfo=UTC)
DAY = date(2027, 2, 20)


def change(member, by, **said):
    return memberships.change_member(member=member, **{"name": member.name, "role": member.role, **said}, by=by)


def end(member, by, *, forget=False):
    return memberships.end(member=member, forget_name=forget, on=DAY, now=NOW, by=by)


class TestRole:
    def test_owner_changes_name_and_role_and_the_history_says_who(self, owner, builder):
        change(builder, owner, name="Wren", role="storekeeper")

        kept = Member.objects.get(pk=builder.pk)
        assert (kept.name, kept.role) == ("Wren", "storekeeper")
        assert Member.history.filter(id=builder.pk).latest().history_user == owner

    def test_same_again_leaves_no_trace(self, owner, builder):
        lines = Member.history.filter(id=builder.pk).count()

        change(builder, owner)

        assert Member.history.filter(id=builder.pk).count() == lines

    @pytest.mark.parametrize("role", ["storekeeper", "builder", "inspector", "reader"])
    def test_nobody_else_does(self, workshop, owner, role):
        with pytest.raises(policy.NotAllowed, match="this takes one of: owner"):
            change(owner, factories.MemberFactory(workshop=workshop, role=role), role="reader")

    def test_last_owner_stays_owner(self, owner, builder):
        with pytest.raises(LastOwner, match="make somebody else an owner first"):
            change(owner, owner, role="builder")

        builder = change(builder, owner, role="owner")
        assert change(owner, builder, role="builder").role == "builder"

    def test_owner_without_a_user_or_who_left_is_no_other_owner(self, owner, workshop):
        factories.MemberFactory(workshop=workshop, user=None, role="owner", name="hand")
        factories.MemberFactory(workshop=workshop, role="owner", active=False)

        with pytest.raises(LastOwner):
            change(owner, owner, role="reader")

    def test_role_that_is_none_is_refused(self, owner, builder):
        with pytest.raises(FieldProblem, match="'captain' is no role: there are owner,"):
            change(builder, owner, role="captain")

    def test_who_left_gets_no_role(self, owner, builder):
        end(builder, owner)

        with pytest.raises(FieldProblem, match="invite them to have them back"):
            change(builder, owner, role="reader")

    def test_hand_of_the_workshop_stays(self, owner, workshop):
        with pytest.raises(memberships.NotAPerson):
            change(hand(workshop), owner, role="reader")
        with pytest.raises(memberships.NotAPerson):
            end(hand(workshop), owner)

    def test_outsider_s_member_is_out_of_reach(self, owner, outsider):
        with scopes_disabled():
            theirs = Member.objects.filter(workshop=outsider).first()

        for act in (lambda: change(theirs, owner, role="reader"), lambda: end(theirs, owner)):
            with pytest.raises(policy.NotAllowed, match="this member is another workshop's"):
                act()


class TestHolders:
    def test_holders_are_set_all_at_once(self, owner, builder, workshop, bench):
        wren = factories.MemberFactory(workshop=workshop, role="builder", name="Wren")

        memberships.set_holders(bench=bench, members=[builder, wren], by=owner)
        held = memberships.set_holders(bench=bench, members=[wren], by=owner)

        assert [row.member for row in held] == [wren]
        assert [row.history_type for row in BenchHolder.history.order_by("history_id")] == ["+", "+", "-"]
        assert not policy.speaks_for(builder, bench)
        assert policy.speaks_for(wren, bench)

    def test_nobody_makes_it_anybody_s(self, owner, builder, workshop, bench):
        wren = factories.MemberFactory(workshop=workshop, role="builder")
        memberships.set_holders(bench=bench, members=[wren], by=owner)
        memberships.set_holders(bench=bench, members=[], by=owner)

        assert policy.speaks_for(builder, bench)

    def test_owners_alone_set_them(self, storekeeper, builder, bench):
        with pytest.raises(policy.NotAllowed):
            memberships.set_holders(bench=bench, members=[builder], by=storekeeper)

    def test_shared_bench_has_none(self, owner, builder, shared_bench):
        with pytest.raises(FieldProblem, match="everybody's"):
            memberships.set_holders(bench=shared_bench, members=[builder], by=owner)

    def test_who_uses_no_stock_holds_none(self, owner, reader, bench):
        with pytest.raises(FieldProblem, match="is reader, who uses no stock"):
            memberships.set_holders(bench=bench, members=[reader], by=owner)

    def test_who_left_holds_none(self, owner, builder, bench):
        end(builder, owner)
        builder.refresh_from_db()

        with pytest.raises(FieldProblem, match="has left"):
            memberships.set_holders(bench=bench, members=[builder], by=owner)

    def test_outsider_s_bench_and_member_are_out_of_reach(self, owner, builder, bench, outsider):
        with scopes_disabled():
            theirs, stranger = outsider.benches.get(), Member.objects.filter(workshop=outsider).first()

        with pytest.raises(policy.NotAllowed, match="another workshop's"):
            memberships.set_holders(bench=theirs, members=[builder], by=owner)
        with pytest.raises(policy.NotAllowed, match="another workshop's"):
            memberships.set_holders(bench=bench, members=[stranger], by=owner)


class TestEnd:
    @pytest.fixture
    def reach(self, workshop):
        """An owner with a device, a feed, mails, an invitation not used and a name in the history."""
        wren = factories.MemberFactory(workshop=workshop, role="owner", name="Wren")
        issue_device(member=wren, name="Phone", scopes=("read",), by=wren)
        feeds.make_feed_address(member=wren, prefix=tokens.make_prefix(tokens.FEED), now=NOW, by=wren)
        feeds.want_digest(member=wren, wanted=True, by=wren)
        invitations.invite(name="Crow", role="reader", prefix=tokens.make_prefix(tokens.INVITATION), now=NOW, by=wren)
        return wren

    def test_all_reach_ends_and_the_history_stays(self, owner, reach):
        left = end(reach, reach)

        assert (left.active, left.left_on, left.name) == (False, DAY, "Wren")
        assert Device.objects.get(member=reach).revoked_at == NOW
        assert FeedAddress.objects.get(member=reach).prefix is None
        assert not DigestMail.objects.get(member=reach).wanted
        assert Invitation.objects.get(by=reach).withdrawn_at == NOW
        assert Member.history.filter(id=reach.pk, name="Wren").count() == 2

    def test_again_changes_nothing(self, owner, reach):
        end(reach, owner)
        lines = Member.history.count()

        memberships.end(member=reach, forget_name=True, on=DAY + timedelta(days=1), now=NOW, by=owner)

        assert Member.history.count() == lines
        assert Member.objects.get(pk=reach.pk).left_on == DAY

    def test_sessions_end_with_the_last_workshop(self, client, owner, builder):
        client.force_login(builder.user, backend="django.contrib.auth.backends.ModelBackend")

        end(builder, builder)

        assert not Session.objects.exists()

    def test_sessions_of_who_works_elsewhere_too_go_on_there(self, client, owner, builder):
        client.force_login(builder.user, backend="django.contrib.auth.backends.ModelBackend")
        with scopes_disabled():
            factories.MemberFactory(user=builder.user)

        end(builder, builder)

        assert Session.objects.count() == 1
        assert [member.workshop.code for member in queries.memberships(builder.user)] != [builder.workshop.code]

    def test_name_is_forgotten_in_the_history_too(self, owner, reach):
        change(reach, owner, name="Wren B.")

        end(reach, owner, forget=True)

        assert Member.objects.get(pk=reach.pk).name == memberships.FORMER
        assert set(Member.history.filter(id=reach.pk).values_list("name", flat=True)) == {memberships.FORMER}

    def test_name_of_who_left_earlier_is_forgotten_by_an_owner(self, owner, builder):
        with pytest.raises(memberships.StillHere):
            memberships.forget_name(member=builder, by=owner)
        end(builder, owner)

        assert memberships.forget_name(member=builder, by=owner).name == memberships.FORMER

    def test_last_owner_stays(self, owner):
        with pytest.raises(LastOwner):
            end(owner, owner)

    def test_nobody_but_an_owner_ends_another_s(self, storekeeper, builder):
        with pytest.raises(policy.NotAllowed):
            end(builder, storekeeper)

    def test_who_comes_back_by_the_command_is_here_again(self, owner, builder, workshop):
        end(builder, owner)

        back, made = services.set_member(email=builder.user.email, workshop=workshop, name="Wren", role="builder", by=owner)

        assert (back.pk, made, back.active, back.left_on) == (builder.pk, False, True, None)

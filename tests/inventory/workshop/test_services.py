"""Workshops, benches, members, and links that sign in once."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.conf import settings
from django.db import IntegrityError, transaction
from django_scopes import scope, scopes_disabled

from inventory.common.texts import BadText
from inventory.models import Bench, Member, User, Workshop
from inventory.workshop import services
from inventory.workshop.policy import NotAllowed, allowed
from tests import factories

NOON = datetime(2027, 2, 20, 12, tzinfo=UTC)


class TestEnsureWorkshop:
    def test_ensure_workshop_finds_it_in_another_case(self, db):
        workshop, made = services.ensure_workshop(code="Heron", name="Heron Hangar")

        assert (made, workshop.name) == (True, "Heron Hangar")
        assert services.ensure_workshop(code=" HERON ") == (workshop, False)
        assert Workshop.objects.count() == 1

    def test_ensure_workshop_is_named_by_its_code_unless_told(self, db):
        assert services.ensure_workshop(code="HERON")[0].name == "HERON"

    @pytest.mark.parametrize("code", ["", "  ", "x" * 41, "a\x00b"])
    def test_ensure_workshop_refuses_what_is_no_code(self, db, code):
        with pytest.raises(BadText):
            services.ensure_workshop(code=code)


class TestEnsureBench:
    def test_ensure_bench_finds_it_in_another_case_as_it_is(self, workshop, storekeeper):
        bench, made = services.ensure_bench(workshop=workshop, code="Pool", shared=True, by=storekeeper)

        assert (made, bench.shared, bench.name) == (True, True, "Pool")
        found, made = services.ensure_bench(workshop=workshop, code="POOL", by=storekeeper)
        assert (found, made, found.shared) == (bench, False, True)
        assert bench.history.get().history_user == storekeeper

    def test_ensure_bench_of_a_code_that_the_outsiders_have_too(self, workshop, outsider, storekeeper):
        assert services.ensure_bench(workshop=workshop, code="OUTSIDE-BENCH", by=storekeeper)[1]

    def test_ensure_bench_works_before_any_scope(self, outsider):
        by = services.hand(outsider)

        assert services.ensure_bench(workshop=outsider, code="NEW", by=by)[1]

    def test_ensure_bench_refuses_builder_and_outsider(self, workshop, outsider, builder, storekeeper):
        for row, by in ((workshop, builder), (outsider, storekeeper)):
            with pytest.raises(NotAllowed):
                services.ensure_bench(workshop=row, code="NEW", by=by)
        assert not Bench.objects.filter(code="NEW").exists()


class TestHand:
    def test_hand_is_one_member_without_a_user(self, workshop):
        member = services.hand(workshop)

        assert (member.name, member.user, member.role) == ("command line", None, "storekeeper")
        assert services.hand(workshop) == member

    def test_hand_of_each_workshop_is_its_own(self, workshop, outsider):
        assert services.hand(workshop) != services.hand(outsider)

    def test_hand_keeps_stock_and_does_not_manage(self, workshop):
        assert allowed(services.hand(workshop), "keep_stock")
        assert not allowed(services.hand(workshop), "manage")


class TestSetMember:
    @pytest.fixture
    def set_member(self, workshop, owner):
        def set_member(**given):
            asked = {"email": "wren@club.example", "workshop": workshop, "name": "Wren", "role": "builder", "by": owner}
            return services.set_member(**{**asked, **given})

        return set_member

    def test_set_member_makes_user_and_membership(self, set_member, workshop, owner):
        member, made = set_member(email=" Wren@Club.Example ")

        assert (made, member.name, member.role, member.workshop) == (True, "Wren", "builder", workshop)
        assert member.user.email == "wren@club.example"
        assert not member.user.has_usable_password()
        assert member.history.get().history_user == owner

    def test_set_member_changes_name_and_role(self, set_member):
        first, _ = set_member()
        second, made = set_member(name="Wren Ash", role="inspector")

        assert (second, made, second.name, second.role) == (first, False, "Wren Ash", "inspector")
        assert User.objects.filter(email="wren@club.example").count() == 1

    def test_set_member_takes_back_one_who_left(self, set_member):
        member, _ = set_member()
        Member.objects.filter(pk=member.pk).update(active=False)

        assert set_member()[0].active

    def test_set_member_of_one_user_in_two_workshops(self, set_member, outsider):
        member, _ = set_member()
        other, made = services.set_member(
            email="wren@club.example",
            workshop=outsider,
            name="Wren",
            role="reader",
            by=services.hand(outsider),
        )

        assert made
        assert other.user == member.user

    def test_set_member_by_the_command_line(self, set_member, workshop):
        assert set_member(role="owner", by=services.hand(workshop))[1]

    def test_set_member_refuses_to_demote_the_last_owner(self, set_member, owner):
        with pytest.raises(services.LastOwner, match=f"{owner.name} is the last owner"):
            set_member(email=owner.user.email, role="builder")
        assert Member.objects.get(pk=owner.pk).role == "owner"

    def test_set_member_renames_the_last_owner(self, set_member, owner):
        assert set_member(email=owner.user.email, role="owner", name="Chief")[0].name == "Chief"

    def test_set_member_demotes_an_owner_where_another_stays(self, set_member, owner):
        set_member(role="owner")

        assert set_member(email=owner.user.email, role="builder")[0].role == "builder"

    def test_set_member_does_not_count_an_owner_who_left(self, set_member, owner):
        other, _ = set_member(role="owner")
        Member.objects.filter(pk=other.pk).update(active=False)

        with pytest.raises(services.LastOwner):
            set_member(email=owner.user.email, role="builder")

    @pytest.mark.parametrize("given", [{"email": "wren"}, {"email": "a@b@c"}, {"role": "king"}])
    def test_set_member_refuses_what_is_no_address_or_role(self, set_member, given):
        with pytest.raises(services.BadMember):
            set_member(**given)

    def test_set_member_refuses_a_blank_name(self, set_member):
        with pytest.raises(BadText):
            set_member(name=" ")

    def test_set_member_refuses_storekeeper_and_outsider(self, set_member, storekeeper, outsider):
        for given in ({"by": storekeeper}, {"workshop": outsider}):
            with pytest.raises(NotAllowed):
                set_member(**given)
        with scopes_disabled():
            assert not Member.objects.filter(user__email="wren@club.example").exists()


class TestSignInLink:
    @pytest.fixture
    def user(self, db):
        return factories.UserFactory()

    def test_a_link_lets_in_once(self, user):
        token = services.sign_in_token(user)

        assert services.use_sign_in_link(user.pk, token) == user
        assert services.use_sign_in_link(user.pk, token) is None

    def test_a_link_works_after_a_link_was_used(self, user):
        services.use_sign_in_link(user.pk, services.sign_in_token(user))
        user.refresh_from_db()

        assert services.use_sign_in_link(str(user.pk), services.sign_in_token(user)) == user

    def test_a_link_lets_in_once_where_the_clock_stands(self, user):
        with time_machine.travel(NOON, tick=False):
            services.use_sign_in_link(user.pk, services.sign_in_token(user))
            user.refresh_from_db()
            token = services.sign_in_token(user)

            assert services.use_sign_in_link(user.pk, token) == user
            assert services.use_sign_in_link(user.pk, token) is None

    def test_a_link_dies_with_another_sign_in(self, user):
        first, second = services.sign_in_token(user), services.sign_in_token(user)
        services.use_sign_in_link(user.pk, second)

        assert services.use_sign_in_link(user.pk, first) is None

    @pytest.mark.parametrize(("seconds", "works"), [(-1, True), (1, False)])
    def test_a_link_lives_as_long_as_the_setting_says(self, user, seconds, works):
        with time_machine.travel(NOON, tick=False):
            token = services.sign_in_token(user)
        with time_machine.travel(NOON + timedelta(seconds=settings.PASSWORD_RESET_TIMEOUT + seconds), tick=False):
            assert (services.use_sign_in_link(user.pk, token) == user) is works

    def test_a_link_of_one_who_is_shut_out_is_none(self, user):
        token = services.sign_in_token(user)
        user.is_active = False
        user.save()

        assert services.use_sign_in_link(user.pk, token) is None

    def test_a_link_of_somebody_else_is_none(self, user):
        token = services.sign_in_token(user)

        assert services.use_sign_in_link(factories.UserFactory().pk, token) is None
        assert services.use_sign_in_link(user.pk, token) == user

    @pytest.mark.parametrize("uid", ["", "0", "-1", "x", "1 or 1", "²", "9" * 40, 10**18])
    @pytest.mark.parametrize("token", ["", "-", "x", "a-b", "\x00", "é" * 500])
    def test_a_link_that_is_none_lets_nobody_in(self, user, uid, token):
        assert services.use_sign_in_link(uid, token) is None
        assert services.use_sign_in_link(user.pk, token) is None


def test_members_are_not_read_across_workshops(workshop, outsider):
    assert not Member.objects.filter(workshop=outsider).exists()
    with scope(workshop=outsider):
        assert Member.objects.filter(workshop=outsider).exists()


class TestSettings:
    def test_receiving_days_are_set_and_the_history_says_by_whom(self, workshop, owner):
        services.set_receiving_days(workshop=workshop, days=5, by=owner)

        workshop.refresh_from_db()
        assert (workshop.receiving_days, workshop.history.first().history_user) == (5, owner)

    def test_rivet_rounding_starts_up_to_halves_and_is_set(self, workshop, owner):
        assert workshop.rivet_rounding == "up_half"
        services.set_rivet_rounding(workshop=workshop, rounding="up_whole", by=owner)

        workshop.refresh_from_db()
        assert (workshop.rivet_rounding, workshop.history.first().history_user) == ("up_whole", owner)

    def test_setting_the_same_again_leaves_no_trace(self, workshop, owner):
        before = workshop.history.count()
        services.set_receiving_days(workshop=workshop, days=3, by=owner)
        services.set_rivet_rounding(workshop=workshop, rounding="up_half", by=owner)
        assert workshop.history.count() == before

    def test_one_setting_leaves_the_other_as_somebody_else_just_set_it(self, workshop, owner):
        stale = Workshop.objects.get(pk=workshop.pk)
        services.set_receiving_days(workshop=workshop, days=5, by=owner)
        services.set_rivet_rounding(workshop=stale, rounding="up_whole", by=owner)

        workshop.refresh_from_db()
        assert (workshop.receiving_days, workshop.rivet_rounding) == (5, "up_whole")

    @pytest.mark.parametrize("days", [-1, 366])
    def test_receiving_days_refuse_what_makes_no_sense(self, workshop, owner, days):
        with pytest.raises(services.BadSetting, match="0 to 365"):
            services.set_receiving_days(workshop=workshop, days=days, by=owner)

    def test_rivet_rounding_refuses_a_word_it_does_not_know(self, workshop, owner):
        with pytest.raises(services.BadSetting, match="up_half, nearest_half, up_whole"):
            services.set_rivet_rounding(workshop=workshop, rounding="down", by=owner)

    @pytest.mark.parametrize("role", ["storekeeper", "builder", "inspector", "reader"])
    def test_settings_are_the_owner_s(self, workshop, outsider, owner, role):
        by = factories.MemberFactory(workshop=workshop, role=role)
        for row, member in ((workshop, by), (outsider, owner)):
            with pytest.raises(NotAllowed):
                services.set_receiving_days(workshop=row, days=5, by=member)
            with pytest.raises(NotAllowed):
                services.set_rivet_rounding(workshop=row, rounding="up_whole", by=member)

    def test_database_refuses_a_rounding_it_does_not_know(self, workshop):
        with pytest.raises(IntegrityError), transaction.atomic():
            Workshop.objects.filter(pk=workshop.pk).update(rivet_rounding="down")

"""Who may do what, and on whose bench."""

import pytest

from inventory.models import Bench, BenchHolder, Member
from inventory.workshop import policy
from inventory.workshop.models import Role
from tests import factories


@pytest.fixture
def holder(workshop, other_bench):
    """A builder who holds the other bench."""
    member = factories.MemberFactory(workshop=workshop, role="builder", name="Wren")
    BenchHolder.objects.create(workshop=workshop, bench=other_bench, member=member)
    return member


def test_each_permission_has_its_sentence():
    assert set(policy.MEANINGS) == set(policy.PERMISSIONS)
    assert all(text.endswith(".") and text[0].isupper() for text in policy.MEANINGS.values())


def test_every_role_may_read_and_only_owners_manage():
    assert policy.PERMISSIONS["read"] == {*Role}
    assert policy.PERMISSIONS["manage"] == {Role.OWNER}


def test_builder_uses_a_bench_without_holders(builder, bench, holder):
    policy.require(builder, "use_stock", bench)

    assert policy.speaks_for(builder, bench)


def test_builder_uses_no_bench_of_another_s(builder, other_bench, holder):
    assert not policy.speaks_for(builder, other_bench)
    assert not policy.allowed(builder, "plan", other_bench)
    with pytest.raises(policy.NotAllowed, match="bench Bench PLOVER is held by Wren: ask them"):
        policy.require(builder, "use_stock", other_bench)


def test_holder_uses_the_bench(holder, other_bench):
    policy.require(holder, "use_stock", other_bench)

    assert policy.speaks_for(holder, other_bench)


def test_shared_bench_is_open_whoever_holds_it(builder, shared_bench, workshop, holder):
    BenchHolder.objects.create(workshop=workshop, bench=shared_bench, member=holder)

    policy.require(builder, "use_stock", shared_bench)


def test_reading_is_never_kept_from_other_builders(builder, other_bench, holder):
    policy.require(builder, "read", other_bench)


@pytest.mark.parametrize("role", ["owner", "storekeeper"])
def test_who_keeps_the_stock_uses_any_bench(workshop, other_bench, holder, role):
    member = factories.MemberFactory(workshop=workshop, role=role)

    policy.require(member, "use_stock", other_bench)
    assert policy.speaks_for(member, other_bench)


@pytest.mark.parametrize("role", ["inspector", "reader"])
def test_who_only_looks_speaks_for_no_bench(workshop, bench, role):
    assert not policy.speaks_for(factories.MemberFactory(workshop=workshop, role=role), bench)


def test_inspector_judges_lots_of_any_bench(workshop, other_bench, holder):
    policy.require(factories.MemberFactory(workshop=workshop, role="inspector"), "judge_lots", other_bench)


def test_who_left_speaks_for_nothing(builder, bench):
    builder.active = False

    assert not policy.speaks_for(builder, bench)


def test_nobody_speaks_for_another_workshop_s_bench(builder, outsider):
    assert not policy.speaks_for(builder, Bench(pk=10**6, workshop=outsider, code="X"))


def test_bench_of_a_holder_who_left_stays_closed(builder, other_bench, holder):
    Member.objects.filter(pk=holder.pk).update(active=False)

    assert not policy.allowed(builder, "use_stock", other_bench)


def test_owner_and_shared_bench_cost_no_query_and_others_one(
    owner, builder, bench, other_bench, shared_bench, holder, django_assert_num_queries
):
    with django_assert_num_queries(0):
        policy.require(owner, "use_stock", other_bench)
        policy.require(builder, "use_stock", shared_bench)
    with django_assert_num_queries(1):
        policy.require(builder, "use_stock", bench)
        policy.allowed(builder, "plan", other_bench)
        policy.require_bench(builder, bench.pk)


def test_bench_rule_by_an_id_says_the_same(builder, other_bench, holder):
    policy.require_bench(holder, other_bench.pk)
    with pytest.raises(policy.NotAllowed, match="held by Wren"):
        policy.require_bench(builder, other_bench.pk)


def test_change_of_holders_counts_once_it_is_asked_anew(builder, bench, holder, workshop):
    assert policy.speaks_for(builder, bench)
    BenchHolder.objects.create(workshop=workshop, bench=bench, member=holder)

    policy.forget_benches(builder)

    assert not policy.speaks_for(builder, bench)

"""Shared material: what finished steps and mixed batches took of shared lots, by project and member."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from buildplan.club import services, statements
from inventory.common.problems import FieldProblem
from tests import factories
from tests.buildplan.club.conftest import TODAY

FIRST, LAST = date(2027, 2, 1), date(2027, 2, 28)


def of(found, code):
    return next(row for row in found.projects if row.code == code)


def stated(workshop, **more):
    return statements.statement(first=FIRST, last=LAST, workshop=workshop, **more)


def test_use_is_booked_to_projects_and_a_batch_by_its_grams(workshop, used):
    found = stated(workshop)

    assert [(row.code, row.cents) for row in found.projects] == [("PLOVER-1", 400), ("TERN-1", 800)]
    assert [(row.material.code, row.line.quantity, row.line.cents) for row in of(found, "TERN-1").lines] == [
        ("SEAL-B2", 40, 800),
        ("WIPE", 4, 0),
    ]
    assert of(found, "TERN-1").lines[1].line.unpriced == 4
    assert of(found, "TERN-1").unpriced
    assert (found.cents, found.currency) == (1200, "EUR")
    assert [(row.member, row.cents) for row in found.members] == [("Heron", 400), ("Wren", 800)]
    assert all(reason.text and reason.source for reason in found.trace)


def test_holders_of_a_bench_share_its_cost_to_the_cent(workshop, used, holder, plover):
    for name in ("Avocet", "Godwit"):
        holder(plover, name)

    found = stated(workshop)

    assert [(row.member, row.cents, row.among) for row in found.members if row.bench.code == "PLOVER"] == [
        ("Avocet", 134, 3),
        ("Godwit", 133, 3),
        ("Heron", 133, 3),
    ]
    assert found.of_members == found.cents


def test_what_no_project_is_known_for_is_shown_and_is_nobody_s_share(workshop, used, take):
    take(used, 10, ref="loan:1")

    found = stated(workshop)

    assert [(row.code, row.bench, row.cents) for row in found.projects if not row.code] == [("", None, 200)]
    assert (found.cents, found.of_members) == (1400, 1200)


def test_of_one_member_and_of_one_bench(workshop, used, wren, tern):
    of_member, of_bench = stated(workshop, member=wren.pk), stated(workshop, bench=tern.pk)

    assert of_member.member == "Wren"
    assert [row.code for row in of_member.projects] == [row.code for row in of_bench.projects] == ["TERN-1"]
    assert (of_member.of_members, of_bench.of_members) == (800, 800)


def test_the_cost_of_the_day_of_use_is_taken(workshop, used, sealant, owner):
    services.set_unit_cost(item=sealant, since=TODAY + timedelta(days=1), amount=Decimal(9), by=owner)

    assert stated(workshop).cents == 1200
    with pytest.raises(FieldProblem, match="finer than a millionth"):
        services.set_unit_cost(item=sealant, since=TODAY, amount=Decimal("0.0000001"), by=owner)


def test_a_tool_has_no_unit_cost(workshop, squeezer, owner):
    with pytest.raises(FieldProblem, match="comes back"):
        services.set_unit_cost(item=squeezer, since=TODAY, amount=Decimal(1), by=owner)


def counted(workshop):
    with CaptureQueriesContext(connection) as found:
        stated(workshop)
    return len(found)


def test_queries_do_not_grow(workshop, used, take, tern_1, planned):
    before = counted(workshop)
    for number in range(5):
        take(used, 1, planned(factories.ProjectFactory(bench=tern_1.bench), f"X{number}", None))

    assert counted(workshop) == before <= 9

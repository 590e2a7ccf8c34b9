"""Ticks that count no more: taken off by themselves, with a reopening, or with their point."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from buildplan.closeup import queries, services
from buildplan.closeup.models import GatePoint, GateTick
from buildplan.closeup.services import Edit
from buildplan.closeup.starting import CODES
from buildplan.plan.models import Section
from tests.buildplan.closeup.conftest import NOW

LATER = NOW + timedelta(minutes=5)


@pytest.fixture
def off(section, builder, owner):
    """Noses ticked and taken off by another; then closed up and opened again with one tick; then a point dropped with its tick."""
    services.tick(section=section, point="edges", by=builder, now=NOW)
    services.untick(section=section, point="edges", by=owner, now=LATER)
    services.tick(section=section, point="inside", by=builder, now=NOW)
    reasons = dict.fromkeys(CODES, "as built")
    services.close(section=section, reasons=reasons, by=builder, now=LATER, key=uuid4())
    services.reopen(section=section, why="the vent line chafes", by=owner, now=LATER + timedelta(hours=1))
    services.tick(section=section, point="steps", by=builder, now=LATER)
    services.edit_list(section=section, edits=[Edit("", "steps", drop=True)], by=owner, now=LATER + timedelta(hours=2))
    return Section.objects.select_related("project__bench__workshop").get(pk=section.pk)


def test_ticks_that_count_no_more_are_told_the_last_one_taken_off_first(off, builder, owner):
    found = queries.gate_view(off, now=NOW).off

    assert [(row.point.split()[0], row.how, row.by, row.off_by) for row in found.rows] == [
        ("All", "with_point", builder.name, owner.name),
        ("Nothing", "reopened", builder.name, owner.name),
        ("Edges", "by_itself", builder.name, owner.name),
    ]
    assert [row.off_at for row in found.rows] == [LATER + timedelta(hours=2), LATER + timedelta(hours=1), LATER]
    assert (found.rows[0].said, found.earlier) == ("2 of 2 steps not done: K1-01, K1-02", 0)


def test_standing_tick_is_none_of_them(section, builder):
    services.tick(section=section, point="edges", by=builder, now=NOW)

    assert queries.off_of(section) == queries.Off((), 0)


def test_the_latest_are_told_with_the_number_of_the_earlier_in_one_query(section, builder, workshop, monkeypatch):
    monkeypatch.setattr(queries, "MOST_OFF", 3)
    services.tick(section=section, point="edges", by=builder, now=NOW)
    services.untick(section=section, point="edges", by=builder, now=NOW)

    def asked():
        with CaptureQueriesContext(connection) as found:
            off = queries.off_of(section)
        return len(found), len(off.rows), off.earlier

    assert asked() == (1, 1, 0)
    point = GatePoint.objects.get(code="edges")
    shared = {"workshop": workshop, "point": point, "by": builder, "at": NOW, "withdrawn_by": builder}
    GateTick.objects.bulk_create(GateTick(**shared, withdrawn_at=NOW + timedelta(minutes=number)) for number in range(1, 6))
    assert asked() == (1, 3, 3)
    assert queries.off_of(section).rows[0].off_at == NOW + timedelta(minutes=5)


def test_page_and_api_tell_them_folded(off, as_member, builder, owner):
    client = as_member(builder)

    page = " ".join(client.get(reverse("gate", args=[off.pk])).content.decode().split())
    assert "<summary>3 ticks were taken off</summary>" in page
    assert f"taken off by {owner.name}" in page
    assert "as the section was opened again" in page
    told = client.get(f"/api/v1/gates/{off.pk}").json()
    assert [(row["point"].split()[0], row["off_by"], row["how"]) for row in told["taken_off"]][-1] == ("Edges", owner.name, "by_itself")
    assert told["taken_off_earlier"] == 0

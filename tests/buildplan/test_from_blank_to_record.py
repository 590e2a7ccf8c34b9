"""The demo from half a blank to the record of it: cut, settled, closed up, traced, and the whole workshop carried to another machine."""

import json
import os
import subprocess
import sys
from datetime import timedelta
from decimal import Decimal
from http import HTTPStatus
from pathlib import Path
from uuid import uuid4

import pytest
from django.conf import settings
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone
from django_scopes import scope

from buildplan.closeup.forms import WHY
from buildplan.fitting.queries import open_conflicts
from buildplan.loading import demo
from buildplan.models import Conflict, Cut, GatePoint, Section, Step
from buildplan.plan.services import set_planned
from buildplan.shortfall.queries import projects, shortfall
from inventory.models import Item, Lot, Member
from tests.archives import differences

pytestmark = pytest.mark.alike

FIXTURES = Path(settings.BASE_DIR) / "fixtures"
WORKSHOP = "SALTMARSH"


@pytest.fixture
def loft(db, as_member):
    """The demo, and its keeper at the site."""
    found = demo.ensure_demo(FIXTURES, password="a year in a hangar", today=timezone.localdate())
    with scope(workshop=found.workshop):
        keeper = Member.objects.get(user__email=demo.KEEPER)
        yield Loft(keeper, as_member(keeper))


class Loft:
    def __init__(self, keeper, client):
        self.keeper, self.client, self.today = keeper, client, timezone.localdate()

    def post(self, name, *args, **said):
        answer = self.client.post(reverse(name, args=args), said)
        assert answer.status_code == HTTPStatus.FOUND, answer.content.decode()

    def page(self, name, *args, **asked):
        answer = self.client.get(reverse(name, args=args), asked)
        assert answer.status_code == HTTPStatus.OK
        return " ".join(answer.content.decode().split())

    def half_and_half(self):
        """Two ribs are sawn; the step of the other two is two years off, and its half of the blank waits for it."""
        later = Step.objects.select_related("project__bench").get(code="TP-03")
        set_planned(step=later, planned_on=self.today + timedelta(days=730), by=self.keeper)
        (sawn, planned) = Cut.objects.filter(blank__item__code="TIP.400").order_by("pk")
        assert (sawn.state, planned.state, planned.mother, planned.step) == ("sawn", "planned", sawn, later)
        assert "TP-03" in self.page("lot", planned.lot_id)
        # One rib was spoiled: of what is left nothing is free for it, since the other half is promised. So a whole blank is short.
        (line,) = [one for one in shortfall(projects(["TIPS-1"]), before=None, as_of=self.today).short if one.item.code == "TIP.400"]
        assert (line.short, Item.objects.get(code="TIP.400").unit) == (Decimal(1), "ea")

    def settle(self):
        conflict = Conflict.objects.get(title="Which way the strut brackets face")
        step = Step.objects.get(code="U1-01", project__code="TERN-1")
        assert step.pk in open_conflicts([step.pk])
        self.post("answer-conflict", conflict.pk, on=self.today, text="As drawn.", reference="letter 15", key=uuid4())
        self.post("settle-conflict", conflict.pk, on=self.today, right="drawing", note="")
        assert open_conflicts([step.pk]) == {}

    def close_up(self):
        section = Section.objects.get(name="Practice tank")
        before = self.page("gate", section.pk)
        assert "7 of 10 ticked" in before
        points = {one.text: one.name for one in GatePoint.objects.filter(section=section)}
        self.post("tick-gate", section.pk, point=points["Nothing is left inside: swarf, rags, clecos, tools"])
        refused = self.client.post(reverse("close-section", args=[section.pk]), {"key": uuid4()})
        assert refused.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        lacking = ("Photos of the inside are taken", "The inspector has seen it open")
        why = {f"{WHY}{points[text]}": "it is for practice, and never flies" for text in lacking}
        self.post("close-section", section.pk, key=uuid4(), **why)
        assert "Closed up" in self.page("gate", section.pk)
        done = Step.objects.filter(section=section).order_by("position").last()
        answer = self.client.post(reverse("take-back", args=[done.project.code, done.code]))
        assert answer.status_code == HTTPStatus.CONFLICT
        assert "closed up" in answer.content.decode()

    def trace(self):
        """From the blank's lot to the step, and from the aeroplane back to the lot, with its certificate."""
        forward = self.page("trace", code="B-900")
        assert "TP-01" in forward
        assert "certain" in forward
        back = self.page("trace", project="TIPS-1")
        assert "B-900" in back


def test_demo_goes_from_half_a_blank_to_an_archive_that_loads_elsewhere_equal(loft, own_file, tmp_path):
    loft.half_and_half()
    loft.settle()
    loft.close_up()
    loft.trace()

    call_command("archive", "save", str(tmp_path / "one.zip"), workshop=WORKSHOP)
    there = Machine(own_file, tmp_path / "uploads")
    there.manage("archive", "load", tmp_path / "one.zip", "--owner", demo.KEEPER)
    there.manage("archive", "save", tmp_path / "two.zip", "--workshop", WORKSHOP)

    assert differences(tmp_path / "one.zip", tmp_path / "two.zip") == []
    trace = json.loads(there.manage("trace", "--lot", "B-900", "--json"))
    assert "TP-01" in json.dumps(trace)
    assert Lot.objects.filter(code="B-900").exists()


class Machine:
    """Another machine: its own database, its own folder of photos."""

    def __init__(self, database, uploads):
        self.environment = {**os.environ, "DATABASE_URL": f"sqlite:///{database}", "RIVETLOFT_UPLOADS": str(uploads)}

    def manage(self, *words):
        command = [sys.executable, "manage.py", *map(str, words)]
        done = subprocess.run(
            command, cwd=settings.BASE_DIR, env=self.environment, capture_output=True, text=True, check=False, timeout=120
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

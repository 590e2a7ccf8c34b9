"""Closing up and leak tests for programs: the same services as the pages."""

from collections.abc import Mapping
from typing import Any, ClassVar
from uuid import uuid4

from django.db.models import QuerySet
from django.urls import path, reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework.generics import get_object_or_404
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from buildplan.closeup import queries, services
from buildplan.closeup.answer import gate_object, leak_object
from buildplan.closeup.api_shapes import (
    GateCloseIn,
    GateOut,
    GatePatch,
    GateReopenIn,
    GateRowOut,
    GateTickIn,
    LeakReadingIn,
    LeakStrikeIn,
    LeakTestIn,
    LeakTestOut,
    LeakTestPatch,
)
from buildplan.closeup.filters import GateFilter, LeakTestFilter
from buildplan.closeup.leaks import leak_tests, with_readings
from buildplan.closeup.models import LeakReading, LeakTest
from buildplan.closeup.services import Edit, Measured, Read, Stated
from buildplan.plan.models import Section
from inventory.common.api_fields import body_of
from inventory.common.etags import TaggedRows, tagged
from inventory.common.problems import FieldProblem
from inventory.common.schema import problems, sent_as, shown_as
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

_KNOWN = {"says": "for", "text": "all 5 steps are done", "trace": [{"text": "all 5 steps are done", "source": "the plan"}]}
_TICK = {"by": "Wren", "at": "2027-03-06T17:10:00Z", "said": "all 5 steps are done"}
GATE = {
    "id": 4,
    "project": "TERN-1",
    "section": "Tanks",
    "closed_at": None,
    "points": [{"point": "steps", "text": "All steps of the section are done", "position": 1, "tick": _TICK, "known": _KNOWN}],
    "closings": [],
    "leak_tests": [2],
    "taken_off": [
        {
            "point": "Nothing is left inside: swarf, rags, clecos, tools",
            **_TICK,
            "said": "",
            "off_by": "Wren",
            "off_at": "2027-03-06T17:12:00Z",
            "how": "by_itself",
        }
    ],
    "taken_off_earlier": 0,
}
GATE_ROW = {
    **{name: GATE[name] for name in ("id", "project", "section", "closed_at")},
    "steps": 5,
    "done": 5,
    "points": 10,
    "ticked": 1,
    "closed_by": None,
}
_READING = {
    "at": "2027-03-06T09:00:00Z",
    "pressure": "27.1",
    "pressure_unit": "inH2O",
    "temperature": "18.5",
    "temperature_unit": "C",
    "barometer": "1013.2",
    "barometer_unit": "hPa",
    "note": "",
}
_LIMIT = {"pressure": None, "pressure_unit": "", "drop": None, "drop_unit": "", "minutes": None, "source": ""}
LEAK_TEST: dict[str, Any] = {
    "id": 2,
    "gate": 4,
    "project": "TERN-1",
    "name": "Left tank",
    **_LIMIT,
    "unit": "inH2O",
    "verdict": "empty",
    "trace": [{"text": "there are fewer than two readings: nothing to compare", "source": "as read and entered"}],
    "readings": [
        {
            "id": 9,
            **_READING,
            "by": "Wren",
            "expected": "27.1 inH2O",
            "missing": "0 inH2O",
            "by_temperature": "0 inH2O",
            "by_barometer": "0 inH2O",
            "struck": None,
            "trace": [],
        }
    ],
}
_TAG = ["closing"]


@extend_schema_view(
    list=extend_schema(summary="List sections with their lists", examples=[shown_as(GATE_ROW)]),
    retrieve=extend_schema(summary="Read a section's list", responses={200: GateOut}, examples=[shown_as(GATE)]),
    partial_update=extend_schema(
        summary="Change a section's list",
        request=GatePatch,
        responses={200: GateOut, **problems(404, 409)},
        examples=[sent_as({"points": [{"text": "Strainer fitted"}, {"point": "marks", "drop": True}]}), shown_as(GATE)],
    ),
)
@extend_schema(tags=_TAG)
class GateViews(TaggedRows, ListModelMixin, GenericViewSet[Section]):
    """What must be true before a section is closed up. The program tells what it knows; people tick."""

    queryset = Section.objects.none()
    serializer_class = GateRowOut
    patch_serializer_class = GatePatch
    filterset_class = GateFilter
    ordering: ClassVar = ("pk",)

    def get_queryset(self) -> QuerySet[Section]:
        """Those that have steps. One query."""
        return queries.gates()

    def row(self, pk: int) -> Section:
        """One of the workshop."""
        return get_object_or_404(Section.objects.select_related("project__bench__workshop"), pk=pk)

    def shown(self, pk: int) -> dict[str, Any]:
        """All of its page."""
        return gate_object(queries.gate_view(self.row(pk), now=timezone.now()))

    def change(self, row: Section, data: dict[str, Any]) -> None:
        """Points of its list."""
        edits = [_edit(one) for one in data.get("points", ())]
        services.edit_list(section=row, edits=_with_texts(row, edits), by=caller(self.request), now=timezone.now())

    @extend_schema(
        operation_id="closing_tick",
        summary="Tick a point of a section's list",
        request=GateTickIn,
        responses={200: GateOut, **problems(404, 409)},
        examples=[sent_as({"point": "edges"}), shown_as(GATE)],
    )
    @once
    def tick(self, request: Request, pk: int) -> Response:
        """Say that it is so. One that is ticked stays as it was ticked."""
        services.tick(section=self.row(pk), **body_of(GateTickIn, request), by=caller(request), now=timezone.now())
        return tagged(self.shown(pk))

    @extend_schema(
        operation_id="closing_untick",
        summary="Take a tick off",
        request=GateTickIn,
        responses={200: GateOut, **problems(404, 409)},
        examples=[sent_as({"point": "edges"}), shown_as(GATE)],
    )
    @once
    def untick(self, request: Request, pk: int) -> Response:
        """It stays as the record that it was."""
        services.untick(section=self.row(pk), **body_of(GateTickIn, request), by=caller(request), now=timezone.now())
        return tagged(self.shown(pk))

    @extend_schema(
        operation_id="closing_close",
        summary="Close a section up",
        request=GateCloseIn,
        responses={200: GateOut, **problems(404, 409)},
        examples=[sent_as({"reasons": [{"point": "leak", "why": "no tank in it"}]}), shown_as(GATE)],
    )
    @once
    def close(self, request: Request, pk: int) -> Response:
        """Each point is ticked, or has its reason; the list is kept as it is now."""
        section, given = self.row(pk), body_of(GateCloseIn, request)
        reasons = {one["point"]: one["why"] for one in given["reasons"]}
        said = {"reasons": reasons, "note": given["note"], "key": given.get("key") or uuid4()}
        services.close(section=section, **said, by=caller(request), now=timezone.now())
        return tagged(self.shown(pk))

    @extend_schema(
        operation_id="closing_reopen",
        summary="Open a closed section again",
        request=GateReopenIn,
        responses={200: GateOut, **problems(404, 409)},
        examples=[sent_as({"why": "the vent line chafes"}), shown_as(GATE)],
    )
    @once
    def reopen(self, request: Request, pk: int) -> Response:
        """The closing stays on record; every point is to be ticked anew."""
        services.reopen(section=self.row(pk), **body_of(GateReopenIn, request), by=caller(request), now=timezone.now())
        return tagged(self.shown(pk))


def _edit(given: Mapping[str, Any]) -> Edit:
    """A PATCH leaves out what it doesn't say, in its points too."""
    return Edit(given.get("text", ""), given.get("point", ""), given.get("position"), drop=given.get("drop", False))


def _with_texts(section: Section, edits: list[Edit]) -> list[Edit]:
    """A point that is there keeps its text where none is sent."""
    texts = {point.name: point.text for point in queries.points_of(section) or queries.starting()}
    return [edit if edit.text else Edit(texts.get(edit.name, ""), edit.name, edit.position, drop=edit.drop) for edit in edits]


@extend_schema_view(
    list=extend_schema(summary="List leak tests", examples=[shown_as(LEAK_TEST)]),
    retrieve=extend_schema(summary="Read a leak test", examples=[shown_as(LEAK_TEST)]),
    create=extend_schema(
        summary="Begin a leak test",
        request=LeakTestIn,
        responses={201: LeakTestOut, **problems(404, 409)},
        examples=[sent_as({"gate": 4, "name": "Left tank"}), shown_as(LEAK_TEST)],
    ),
    partial_update=extend_schema(
        summary="Change a leak test",
        request=LeakTestPatch,
        responses={200: LeakTestOut, **problems(404, 409)},
        examples=[sent_as({"name": "Left outer tank"}), shown_as({**LEAK_TEST, "name": "Left outer tank"})],
    ),
)
@extend_schema(tags=_TAG)
class LeakTestViews(TaggedRows, ListModelMixin, GenericViewSet[LeakTest]):
    """Leak tests: readings corrected for temperature and barometer, beside the kit maker's limit as entered. They decide nothing."""

    queryset = LeakTest.objects.none()
    serializer_class = LeakTestOut
    patch_serializer_class = LeakTestPatch
    filterset_class = LeakTestFilter
    ordering: ClassVar = ("pk",)

    def get_queryset(self) -> QuerySet[LeakTest]:
        """All of the workshop. One query."""
        return leak_tests()

    def list(self, request: Request) -> Response:
        """A page of them, with the readings of all in one query."""
        del request
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        return self.get_paginated_response([leak_object(leak) for leak in with_readings(page or [])])

    def row(self, pk: int) -> LeakTest:
        """One of the workshop."""
        return get_object_or_404(self.get_queryset(), pk=pk)

    def shown(self, pk: int) -> dict[str, Any]:
        """All of its page."""
        (leak,) = with_readings([self.row(pk)])
        return leak_object(leak)

    @once
    def create(self, request: Request) -> Response:
        """The limit is the kit maker's, as it is sent: nothing is filled in."""
        given = body_of(LeakTestIn, request)
        section = given.pop("gate")
        key = given.pop("key", None) or uuid4()
        made = services.make_leak_test(section=section, stated=_stated(given), key=key, by=caller(request))
        return tagged(self.shown(made.pk), status=201, Location=reverse("api-leak-test", args=[made.pk]))

    def change(self, row: LeakTest, data: dict[str, Any]) -> None:
        """Only what is given."""
        names = ("name", "pressure", "pressure_unit", "drop", "drop_unit", "minutes", "source")
        before = {name: getattr(row, name) for name in names}
        services.change_leak_test(test=row, stated=_stated({**before, **data}), by=caller(self.request))

    @extend_schema(
        operation_id="closing_read",
        summary="Write a reading of a leak test down",
        request=LeakReadingIn,
        responses={201: LeakTestOut, **problems(404, 409)},
        examples=[sent_as(_READING), shown_as(LEAK_TEST)],
    )
    @once
    def read(self, request: Request, pk: int) -> Response:
        """What gauge, thermometer and barometer showed at one moment."""
        test, given = self.row(pk), body_of(LeakReadingIn, request)
        found = {name: Measured(given[name], given[f"{name}_unit"]) for name in ("pressure", "temperature", "barometer")}
        read = Read(given["at"], **found, note=given["note"])
        key = given.get("key") or uuid4()
        services.add_reading(test=test, read=read, key=key, by=caller(request), now=timezone.now())
        return tagged(self.shown(pk), status=201, Location=reverse("api-leak-test", args=[pk]))


def _stated(given: Mapping[str, Any]) -> Stated:
    figures = {name: _measured(given, name) for name in ("pressure", "drop")}
    return Stated(given["name"], **figures, minutes=given.get("minutes"), source=given.get("source", ""))


def _measured(given: Mapping[str, Any], name: str) -> Measured | None:
    value, unit = given.get(name), given.get(f"{name}_unit", "")
    if value is not None and not unit:
        raise FieldProblem(f"{name}_unit", f"say in which unit {name} is")
    return None if value is None else Measured(value, unit)


@extend_schema(tags=_TAG)
class LeakReadingViews(GenericViewSet[LeakReading]):
    """Readings of leak tests."""

    queryset = LeakReading.objects.none()
    serializer_class = LeakTestOut

    @extend_schema(
        operation_id="closing_strike",
        summary="Strike a reading of a leak test out",
        request=LeakStrikeIn,
        responses={200: LeakTestOut, **problems(404, 409)},
        examples=[sent_as({"why": "the wrong gauge"}), shown_as(LEAK_TEST)],
    )
    @once
    def strike(self, request: Request, pk: int) -> Response:
        """It stays and can be read, and counts no more."""
        found = get_object_or_404(LeakReading.objects.select_related("test__section__project__bench__workshop"), pk=pk)
        services.strike_reading(reading=found, **body_of(LeakStrikeIn, request), by=caller(request), now=timezone.now())
        (leak,) = with_readings([get_object_or_404(leak_tests(), pk=found.test_id)])
        return tagged(leak_object(leak))


urlpatterns = [
    path("gates", GateViews.as_view({"get": "list"}), name="api-gates"),
    path("gates/<int:pk>", GateViews.as_view({"get": "retrieve", "patch": "partial_update"}), name="api-gate"),
    path("gates/<int:pk>/tick", GateViews.as_view({"post": "tick"}), name="api-gate-tick"),
    path("gates/<int:pk>/untick", GateViews.as_view({"post": "untick"}), name="api-gate-untick"),
    path("gates/<int:pk>/close", GateViews.as_view({"post": "close"}), name="api-gate-close"),
    path("gates/<int:pk>/reopen", GateViews.as_view({"post": "reopen"}), name="api-gate-reopen"),
    path("leak-tests", LeakTestViews.as_view({"get": "list", "post": "create"}), name="api-leak-tests"),
    path("leak-tests/<int:pk>", LeakTestViews.as_view({"get": "retrieve", "patch": "partial_update"}), name="api-leak-test"),
    path("leak-tests/<int:pk>/readings", LeakTestViews.as_view({"post": "read"}), name="api-leak-test-read"),
    path("leak-readings/<int:pk>/strike", LeakReadingViews.as_view({"post": "strike"}), name="api-leak-reading-strike"),
]

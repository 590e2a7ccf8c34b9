"""Traces and makers' notices for programs: the same queries and services as the pages."""

from collections.abc import Iterable, Sequence
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
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from buildplan.trace import answer, services
from buildplan.trace import notices as queries
from buildplan.trace.api_shapes import (
    NoticeIn,
    NoticeLetterOut,
    NoticeOut,
    NoticePatch,
    NoticeSweepOut,
    NoticeTaskOut,
    NoticeTickIn,
    TraceAsked,
    TraceOut,
    notice_object,
    task_object,
)
from buildplan.trace.asking import AskOne, found_by
from buildplan.trace.filters import NoticeFilter, TaskFilter
from buildplan.trace.models import Notice, NoticeItem, NoticeLetter, Sweep, Task
from buildplan.trace.services import NoticeData
from inventory.catalogue import calc as codes
from inventory.common.etags import TaggedRows, tagged
from inventory.common.problems import NotHere
from inventory.common.schema import problems, sent_as, shown_as
from inventory.models import Identifier, Item
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

REASON = {"text": "F3-05 took 118 ea of lot R7 of MS20470AD4-6, TERN from Rack A on 2027-03-06", "source": "the ledger, line 812"}
LOT = {"id": 41, "code": "R7", "item": "MS20470AD4-6", "bench": "TERN", "state": "good", "made": "2026-05", "expires": None}
LINE = {
    "certainty": "certain",
    "kind": "step",
    "project": "TERN-1",
    "section": "Floats",
    "step": "F3-05",
    "title": "Rivet the right bottom seams",
    "bench": "Tern bench",
    "lot": LOT,
    "taken": LOT,
    "choices": [],
    "quantity": "118",
    "unit": "ea",
    "on": "2027-03-06",
    "by": "Wren of Tern",
    "place": "Rack A",
    "what": "",
    "closed": None,
    "movement": 812,
    "mix": None,
    "cut": None,
    "trace": [REASON],
}
TRACE = {
    "subject": "MS20470AD4-6, lot R7",
    "way": "forward",
    "counts": {"certain": 1, "possible": 0, "not": 0},
    "lots": [{**LOT, "certainty": "certain"}],
    "sources": [],
    "lines": [LINE],
    "arrivals": [
        {
            "lot": 41,
            "on": "2026-11-02",
            "crate": "CRATE-3",
            "bag": "7A",
            "line": "12",
            "sender": "Reedling Kits",
            "instead_of": "",
            "note": "",
        }
    ],
    "batches": [],
    "tools": [],
    "worked": [],
    "seen": [],
    "trace": [{"text": "what was reversed, taken back or undone counts as if it had not been", "source": "the ledger"}],
    "not": [],
}
SWEEP = {
    "number": 1,
    "at": "2027-03-07T09:30:00Z",
    "by": "Wren of Tern",
    "counts": {"lots_affected": 1, "lots_possibly": 0, "lots_not": 2, "uses_affected": 2, "uses_possibly": 0, "to_look": 2},
}
NOTICE = {
    "id": 3,
    "reference": "SB-2027-04",
    "maker": "Reedling Rivets",
    "title": "Heads that may crack",
    "text": "Rivets of lot R7 may crack at the head. Look at each with a lens; drill out what is cracked.",
    "issued_on": "2027-03-01",
    "items": ["MS20470AD4-6"],
    "codes": ["R7"],
    "made_from": None,
    "made_to": None,
    "packed_from": None,
    "packed_to": None,
    "note": "",
    "by": "Wren of Tern",
    "sweep": SWEEP,
}
_SAID = {name: NOTICE[name] for name in ("reference", "maker", "title", "text", "issued_on", "items", "codes")}
TASK = {
    "id": 8,
    "notice": 3,
    "where": "step",
    "verdict": "affected",
    "text": "TERN-1 F3-05 Rivet the right bottom seams, done on 2027-03-06: 118 ea of lot R7 of MS20470AD4-6, TERN went in",
    "bench": "TERN",
    "lot": 41,
    "step": "TERN-1:F3-05",
    "first_sweep": 1,
    "last_sweep": 1,
    "ticked_at": None,
    "ticked_by": None,
    "outcome": "",
    "trace": [REASON],
}
TICKED = {**TASK, "ticked_at": "2027-03-08T17:00:00Z", "ticked_by": "Wren of Tern", "outcome": "all heads sound"}
LETTER = {"id": 5, "to": "Wren of Tern", "sweep": 1, "at": "2027-03-07T09:40:00Z", "text": "Saltmarsh Build Club\n\nTo:\nWren of Tern\n"}
_TRACES, _NOTICES = ["trace"], ["notices"]


@extend_schema(tags=_TRACES)
class TraceView(APIView):
    """Traces both ways."""

    scopes: ClassVar[dict[str, str]] = {"GET": "read"}

    @extend_schema(
        operation_id="trace",
        summary="Follow a lot, or ask what went into a step, section, project or assembly",
        parameters=[TraceAsked],
        responses={200: TraceOut, **problems(404)},
        examples=[shown_as(TRACE)],
    )
    def get(self, request: Request) -> Response:
        """Each line says how sure it is (certain, possible, not), and why."""
        asked = TraceAsked(data=request.query_params)
        asked.is_valid(raise_exception=True)
        found = found_by(asked.validated_data)
        if found is None:
            raise AskOne("say what to trace: lot, code, project (and step or section), or assembly")
        return Response(answer.as_object(found))


def _items(texts: Iterable[str]) -> list[Item]:
    """The items of some codes; 404 for one that isn't of this workshop."""
    wanted = {codes.key(text): text for text in texts}
    known = {row.key: row.item for row in Identifier.objects.filter(key__in=wanted).select_related("item")}
    for key, text in wanted.items():
        if key not in known:
            raise NotHere(f"there is no item {text} here")
    return list({item.pk: item for item in known.values()}.values())


def _sweep(row: Sweep | None) -> dict[str, Any] | None:
    return None if row is None else {"number": row.number, "at": row.at, "by": row.by.name, "counts": row.counts}


def objects(rows: Sequence[Notice]) -> list[dict[str, Any]]:
    """Notices as programs read them. Two queries."""
    ids = [row.pk for row in rows]
    items: dict[int, list[str]] = {pk: [] for pk in ids}
    for notice, code in NoticeItem.objects.filter(notice__in=ids).order_by("item__code").values_list("notice_id", "item__code"):
        items[notice].append(code)
    last = {row.notice_id: row for row in Sweep.objects.filter(notice__in=ids).select_related("by").order_by("number")}
    return [notice_object(row, items[row.pk], _sweep(last.get(row.pk))) for row in rows]


@extend_schema_view(
    list=extend_schema(summary="List makers' notices", examples=[shown_as(NOTICE)]),
    retrieve=extend_schema(summary="Read a notice", examples=[shown_as(NOTICE)]),
    create=extend_schema(
        summary="Write a maker's notice down",
        request=NoticeIn,
        responses={201: NoticeOut, **problems(404)},
        examples=[sent_as(_SAID), shown_as({**NOTICE, "sweep": None})],
    ),
    partial_update=extend_schema(
        summary="Correct a notice",
        request=NoticePatch,
        responses={200: NoticeOut, **problems(404)},
        examples=[sent_as({"codes": ["R7", "R8"]}), shown_as({**NOTICE, "codes": ["R7", "R8"]})],
    ),
    destroy=extend_schema(summary="Remove a notice that was entered by mistake", responses={204: None, **problems(404, 409)}),
)
@extend_schema(tags=_NOTICES)
class NoticeViews(TaggedRows, ListModelMixin, GenericViewSet[Notice]):
    """Makers' notices. They decide what is to be done; a sweep names where. Nothing here approves or grounds anything."""

    queryset = Notice.objects.none()
    serializer_class = NoticeOut
    patch_serializer_class = NoticePatch
    filterset_class = NoticeFilter
    ordering: ClassVar = ("pk",)

    def get_queryset(self) -> QuerySet[Notice]:
        """All of the workshop."""
        return Notice.objects.select_related("by")

    def list(self, request: Request) -> Response:
        """A page of them."""
        del request
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        return self.get_paginated_response(objects(page or []))

    def row(self, pk: int) -> Notice:
        """One of the workshop."""
        return get_object_or_404(self.get_queryset(), pk=pk)

    def shown(self, pk: int) -> dict[str, Any]:
        """As a reader is given it."""
        return dict(NoticeOut(objects([self.row(pk)])[0]).data)

    @once
    def create(self, request: Request) -> Response:
        """Write it down. It is looked for by a sweep."""
        asked = NoticeIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = dict(asked.validated_data)
        key, items = given.pop("key", None) or uuid4(), _items(given.pop("items", ()))
        by = caller(request)
        made = services.add_notice(workshop=by.workshop, said=NoticeData(**given), items=items, key=key, by=by)
        return tagged(self.shown(made.pk), status=201, Location=reverse("api-notice", args=[made.pk]))

    def change(self, row: Notice, data: dict[str, Any]) -> None:
        """Only what is given."""
        names = ("reference", "maker", "title", "text", "issued_on", "codes", "made_from", "made_to", "packed_from", "packed_to", "note")
        said = NoticeData(**{name: data.get(name, getattr(row, name)) for name in names})
        items = _items(data["items"]) if "items" in data else [one.item for one in row.items.select_related("item")]
        services.edit_notice(notice=row, said=said, items=items, by=caller(self.request))

    def remove(self, row: Notice) -> None:
        """With its sweeps."""
        services.remove_notice(notice=row, by=caller(self.request))

    @extend_schema(
        operation_id="notice_sweep",
        summary="Look through all benches and aeroplanes for what a notice means",
        request=None,
        responses={201: NoticeSweepOut, **problems(404)},
        examples=[shown_as(SWEEP)],
    )
    @once
    def sweep(self, request: Request, pk: int) -> Response:
        """What is new goes on the work list; what was ticked stays ticked."""
        made = services.sweep(notice=self.row(pk), by=caller(request), now=timezone.now())
        return Response(NoticeSweepOut(_sweep(made)).data, status=201, headers={"Location": reverse("api-notice", args=[pk])})

    @extend_schema(
        operation_id="notice_letters",
        summary="List the letters of a notice",
        responses={200: NoticeLetterOut(many=True), **problems(404)},
        examples=[shown_as(LETTER)],
    )
    def letters(self, request: Request, pk: int) -> Response:
        """As they were written."""
        del request
        return Response([_letter(row) for row in queries.letters_of(self.row(pk))])

    @extend_schema(
        operation_id="notice_write_letters",
        summary="Write to the members whom the last sweep concerns",
        request=None,
        responses={201: NoticeLetterOut(many=True), **problems(404, 409)},
        examples=[shown_as(LETTER)],
    )
    @once
    def write(self, request: Request, pk: int) -> Response:
        """One letter each: to who has the loan, or holds the bench. Written again they are the same."""
        made = services.write_letters(notice=self.row(pk), by=caller(request), now=timezone.now())
        where = reverse("api-notice-letters", args=[pk])
        return Response([_letter(row) for row in made], status=201, headers={"Location": where})


def _letter(row: NoticeLetter) -> dict[str, Any]:
    said = {"id": row.pk, "to": row.member.name, "sweep": row.sweep.number, "at": row.at, "text": row.text}
    return dict(NoticeLetterOut(said).data)


@extend_schema_view(list=extend_schema(summary="List what notices ask to look at", examples=[shown_as(TASK)]))
@extend_schema(tags=_NOTICES)
class NoticeTaskViews(ListModelMixin, GenericViewSet[Task]):
    """The work lists of notices."""

    queryset = Task.objects.none()
    serializer_class = NoticeTaskOut
    filterset_class = TaskFilter
    ordering: ClassVar = ("pk",)

    def get_queryset(self) -> QuerySet[Task]:
        """All of the workshop."""
        return queries.tasks()

    def list(self, request: Request) -> Response:
        """A page of them."""
        del request
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        return self.get_paginated_response([task_object(task) for task in page or []])

    def _row(self, pk: int) -> Task:
        return get_object_or_404(self.get_queryset(), pk=pk)

    def _shown(self, pk: int) -> Response:
        return Response(NoticeTaskOut(task_object(self._row(pk))).data)

    @extend_schema(
        operation_id="notice_tick",
        summary="Write down what came of looking at something",
        request=NoticeTickIn,
        responses={200: NoticeTaskOut, **problems(404, 409)},
        examples=[sent_as({"outcome": "all heads sound"}), shown_as(TICKED)],
    )
    @once
    def tick(self, request: Request, pk: int) -> Response:
        """With who and when."""
        row = self._row(pk)
        asked = NoticeTickIn(data=request.data)
        asked.is_valid(raise_exception=True)
        services.tick(task=row, **asked.validated_data, by=caller(request), now=timezone.now())
        return self._shown(pk)

    @extend_schema(
        operation_id="notice_untick",
        summary="Take a tick back",
        request=None,
        responses={200: NoticeTaskOut, **problems(404, 409)},
        examples=[shown_as(TASK)],
    )
    @once
    def untick(self, request: Request, pk: int) -> Response:
        """It is to be looked at again."""
        services.untick(task=self._row(pk), by=caller(request))
        return self._shown(pk)

    @extend_schema(
        operation_id="notice_quarantine",
        summary="Put the lot on the shelf into quarantine",
        request=None,
        responses={200: NoticeTaskOut, **problems(404, 409)},
        examples=[shown_as({**TICKED, "where": "shelf", "outcome": "put into quarantine"})],
    )
    @once
    def quarantine(self, request: Request, pk: int) -> Response:
        """All of it, wherever it lies; its lines are ticked."""
        services.quarantine(task=self._row(pk), by=caller(request), now=timezone.now())
        return self._shown(pk)


urlpatterns = [
    path("trace", TraceView.as_view(), name="api-trace"),
    path("notices", NoticeViews.as_view({"get": "list", "post": "create"}), name="api-notices"),
    path("notices/<int:pk>", NoticeViews.as_view({"get": "retrieve", "patch": "partial_update", "delete": "destroy"}), name="api-notice"),
    path("notices/<int:pk>/sweep", NoticeViews.as_view({"post": "sweep"}), name="api-notice-sweep"),
    path("notices/<int:pk>/letters", NoticeViews.as_view({"get": "letters", "post": "write"}), name="api-notice-letters"),
    path("notices/tasks", NoticeTaskViews.as_view({"get": "list"}), name="api-notice-tasks"),
    path("notices/tasks/<int:pk>/tick", NoticeTaskViews.as_view({"post": "tick"}), name="api-notice-tick"),
    path("notices/tasks/<int:pk>/untick", NoticeTaskViews.as_view({"post": "untick"}), name="api-notice-untick"),
    path("notices/tasks/<int:pk>/quarantine", NoticeTaskViews.as_view({"post": "quarantine"}), name="api-notice-quarantine"),
]

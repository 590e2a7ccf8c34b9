"""Conflicts of text and drawing, and match marks, for programs: the same services as the pages."""

from collections.abc import Iterable
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.urls import path, reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework.generics import get_object_or_404
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from buildplan.fitting import answer, assembled, queries, services
from buildplan.fitting.api_shapes import (
    AssemblyIn,
    AssemblyOut,
    AssemblyPatch,
    AssemblyRowOut,
    AwayIn,
    ConflictIn,
    ConflictOut,
    ConflictPatch,
    ConflictReopenIn,
    ConflictRowOut,
    ConflictSettleIn,
    DeedIn,
    MakerAnswerIn,
    PieceIn,
    PositionsIn,
    ReplaceIn,
    TakeForIn,
)
from buildplan.fitting.assemblies import Done, Piece
from buildplan.fitting.filters import AssemblyFilter, ConflictFilter
from buildplan.fitting.models import Assembly, Conflict, ConflictItem, ConflictStep, Mark, Position
from buildplan.plan.models import Project, Step
from inventory.common.api_fields import body_of
from inventory.common.etags import TaggedRows, tagged
from inventory.common.problems import NotHere
from inventory.common.schema import problems, sent_as, shown_as
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

READINGS = {
    "title": "Hand of frame 4's clip",
    "kind": "hand",
    "text_says": "rivet the left clip to frame 4",
    "text_where": "page 31, step F2-04",
    "drawing_says": "the right clip stands at frame 4",
    "drawing_where": "sheet 6, section C-C",
}
CONFLICT = {
    "id": 3,
    "project": "TERN-1",
    "state": "open",
    **READINGS,
    "by": "Wren",
    "steps": [{"step": "F2-04", "title": "Clip frame 4", "done": False, "through": ""}],
    "items": ["CLIP-L"],
    "answers": [{"text": "The drawing is right.", "on": "2027-03-01", "reference": "letter 14", "by": "Wren"}],
    "settlements": [],
    "record": {
        "text": 0,
        "drawing": 1,
        "neither": 0,
        "cases": 1,
        "trace": [
            {
                "text": "of 1 settled conflict of hand: the text right in 0, the drawing right in 1, neither right in 0",
                "source": "the workshop's own settled conflicts",
            }
        ],
    },
}
CONFLICT_ROW = {
    **{name: CONFLICT[name] for name in ("id", "project", "title", "kind", "state")},
    "answered": "2027-03-01",
    "right": "",
    "settled_on": None,
}
DECISION = {"right": "drawing", "on": "2027-03-02", "by": "Amos", "note": "", "reopened_at": None, "reopened_by": None, "reopened_why": ""}
EVENT = {
    "deed": "drilled",
    "on": "2027-03-02",
    "by": "Wren",
    "drill": "40",
    "final": False,
    "mates": "stiffener 7",
    "note": "",
}
MARK = {
    "id": 8,
    "mark": "7",
    "item": "SKIN-L",
    "lot": 41,
    "words": "",
    "reason": "",
    "on": "2027-03-01",
    "by": "Wren",
    "ended_on": None,
    "ended_by": "",
    "ended_why": "",
    "events": [EVENT],
}
ASSEMBLY = {
    "id": 2,
    "project": "TERN-1",
    "name": "Left bottom skin",
    "note": "",
    "steps": [{"step": "F1-02", "phase": "match_drill", "done": False}],
    "times": [
        {"number": 1, "steps": ["F1-02"], "apart": "F1-03", "clecos": [{"cleco": "CLECO-3", "put": 40, "most": 40, "when": "F1-02"}]}
    ],
    "assemblies": 1,
    "disassemblies": 1,
    "trace": [{"text": "time 1: together in F1-02; F1-03 takes it apart", "source": "the phases of its steps, in plan order"}],
    "positions": [
        {
            "id": 5,
            "number": 7,
            "part": "skin",
            "item": "SKIN-L",
            "marks": [MARK],
            "holes": [{"text": "skin 7: drilled #40 with stiffener 7, not to final size, on 2027-03-02 by Wren", "source": "its pieces"}],
        }
    ],
}
ASSEMBLY_ROW = {**{name: ASSEMBLY[name] for name in ("id", "project", "name")}, "positions": 1, "marked": 1}
_CONFLICTS, _ASSEMBLIES = ["conflicts"], ["assemblies"]


def _steps(project: Project, codes: Iterable[str]) -> list[Step]:
    """The steps of these codes in the project; one that isn't there is a 404."""
    found = {row.code.upper(): row for row in Step.objects.filter(project=project)}
    missing = [code for code in codes if code.upper() not in found]
    if missing:
        raise NotHere(f"there is no step {', '.join(missing)} in {project.code}")
    return [found[code.upper()] for code in codes]


@extend_schema_view(
    list=extend_schema(summary="List conflicts", responses={200: ConflictRowOut(many=True)}, examples=[shown_as(CONFLICT_ROW)]),
    retrieve=extend_schema(summary="Read a conflict", responses={200: ConflictOut}, examples=[shown_as(CONFLICT)]),
    create=extend_schema(
        summary="Record a conflict",
        request=ConflictIn,
        responses={201: ConflictOut, **problems(404, 409)},
        examples=[sent_as({"project": "TERN-1", **READINGS, "steps": ["F2-04"]}), shown_as(CONFLICT)],
    ),
    partial_update=extend_schema(
        summary="Change a conflict",
        request=ConflictPatch,
        responses={200: ConflictOut, **problems(404, 409)},
        examples=[sent_as({"steps": ["F2-04"]}), shown_as(CONFLICT)],
    ),
)
@extend_schema(tags=_CONFLICTS)
class ConflictViews(TaggedRows, ListModelMixin, GenericViewSet[Conflict]):
    """Where text and drawing of the plans disagree. What rests on an open one is held."""

    queryset = Conflict.objects.none()
    serializer_class = ConflictRowOut
    patch_serializer_class = ConflictPatch
    filterset_class = ConflictFilter
    ordering: ClassVar = ("pk",)

    def get_queryset(self) -> QuerySet[Conflict]:
        """With the standing decision."""
        return queries.conflict_rows()

    def row(self, pk: int) -> Conflict:
        """One of the workshop."""
        return get_object_or_404(Conflict.objects.select_related("project__bench__workshop", "by"), pk=pk)

    def shown(self, pk: int) -> dict[str, Any]:
        """All of its page."""
        return answer.conflict_object(queries.conflict_view(self.row(pk)))

    @once
    def create(self, request: Request) -> Response:
        """What rests on it is held from now on."""
        given = body_of(ConflictIn, request)
        given["steps"] = _steps(given["project"], given["steps"])
        made = services.record_conflict(**given, by=caller(request))
        return tagged(self.shown(made.pk), status=201, Location=reverse("api-conflict", args=[made.pk]))

    def change(self, row: Conflict, data: dict[str, Any]) -> None:
        """Readings, and what rests on it."""
        by = caller(self.request)
        services.edit_conflict(conflict=row, changes=data, by=by)
        if "steps" in data or "items" in data:
            steps = _steps(row.project, data["steps"]) if "steps" in data else self._named(row)
            items = data["items"] if "items" in data else [one.item for one in self._items(row)]
            services.set_resting(conflict=row, steps=steps, items=items, by=by)

    @staticmethod
    def _named(row: Conflict) -> list[Step]:
        return [one.step for one in ConflictStep.objects.filter(conflict=row).select_related("step")]

    @staticmethod
    def _items(row: Conflict) -> QuerySet[ConflictItem]:
        return ConflictItem.objects.filter(conflict=row).select_related("item")

    @extend_schema(
        operation_id="conflicts_answer",
        summary="Write down the maker's answer",
        request=MakerAnswerIn,
        responses={200: ConflictOut, **problems(409)},
        examples=[sent_as({"text": "The drawing is right.", "on": "2027-03-01", "reference": "letter 14"}), shown_as(CONFLICT)],
    )
    @once
    def answer(self, request: Request, pk: int) -> Response:
        """It settles nothing by itself: a person decides."""
        services.add_answer(conflict=self.row(pk), **body_of(MakerAnswerIn, request), by=caller(request), today=timezone.localdate())
        return tagged(self.shown(pk))

    @extend_schema(
        operation_id="conflicts_settle",
        summary="Settle a conflict",
        request=ConflictSettleIn,
        responses={200: ConflictOut, **problems(409)},
        examples=[
            sent_as({"right": "drawing", "on": "2027-03-02"}),
            shown_as({**CONFLICT, "state": "settled", "settlements": [DECISION]}),
        ],
    )
    @once
    def settle(self, request: Request, pk: int) -> Response:
        """What rests on it is free again."""
        services.settle(conflict=self.row(pk), **body_of(ConflictSettleIn, request), by=caller(request), today=timezone.localdate())
        return tagged(self.shown(pk))

    @extend_schema(
        operation_id="conflicts_reopen",
        summary="Open a settled conflict again",
        request=ConflictReopenIn,
        responses={200: ConflictOut, **problems(409)},
        examples=[sent_as({"why": "the maker wrote again"}), shown_as(CONFLICT)],
    )
    @once
    def reopen(self, request: Request, pk: int) -> Response:
        """The decision stays on record, and what isn't done is held again."""
        services.reopen(conflict=self.row(pk), **body_of(ConflictReopenIn, request), by=caller(request), now=timezone.now())
        return tagged(self.shown(pk))


@extend_schema_view(
    list=extend_schema(summary="List assemblies", responses={200: AssemblyRowOut(many=True)}, examples=[shown_as(ASSEMBLY_ROW)]),
    retrieve=extend_schema(summary="Read an assembly", responses={200: AssemblyOut}, examples=[shown_as(ASSEMBLY)]),
    create=extend_schema(
        summary="Make an assembly",
        request=AssemblyIn,
        responses={201: AssemblyOut, **problems(404, 409)},
        examples=[
            sent_as({"project": "TERN-1", "name": "Left bottom skin", "steps": [{"step": "F1-02", "phase": "match_drill"}]}),
            shown_as(ASSEMBLY),
        ],
    ),
    partial_update=extend_schema(
        summary="Change an assembly",
        request=AssemblyPatch,
        responses={200: AssemblyOut, **problems(404, 409)},
        examples=[sent_as({"name": "Left bottom skin"}), shown_as(ASSEMBLY)],
    ),
)
@extend_schema(tags=_ASSEMBLIES)
class AssemblyViews(TaggedRows, ListModelMixin, GenericViewSet[Assembly]):
    """Pieces that are drilled together, their numbered positions and their marks."""

    queryset = Assembly.objects.none()
    serializer_class = AssemblyRowOut
    patch_serializer_class = AssemblyPatch
    filterset_class = AssemblyFilter
    ordering: ClassVar = ("pk",)

    def get_queryset(self) -> QuerySet[Assembly]:
        """With counts."""
        return assembled.assembly_rows()

    def row(self, pk: int) -> Assembly:
        """One of the workshop."""
        return get_object_or_404(Assembly.objects.select_related("project__bench__workshop"), pk=pk)

    def shown(self, pk: int) -> dict[str, Any]:
        """All of its page."""
        return assembly_shown(self.row(pk))

    @once
    def create(self, request: Request) -> Response:
        """With its steps by phase."""
        given = body_of(AssemblyIn, request)
        given["steps"] = _phased(given["project"], given["steps"])
        made = services.make_assembly(**given, by=caller(request))
        return tagged(self.shown(made.pk), status=201, Location=reverse("api-assembly", args=[made.pk]))

    def change(self, row: Assembly, data: dict[str, Any]) -> None:
        """Name, note and steps."""
        by = caller(self.request)
        services.edit_assembly(assembly=row, changes=data, by=by)
        if "steps" in data:
            services.set_steps(assembly=row, steps=_phased(row.project, data["steps"]), by=by)

    @extend_schema(
        operation_id="assemblies_positions",
        summary="Number positions of an assembly",
        request=PositionsIn,
        responses={200: AssemblyOut, **problems(404, 409)},
        examples=[sent_as({"parts": ["skin", "stiffener"], "first": 1, "last": 8}), shown_as(ASSEMBLY)],
    )
    @once
    def positions(self, request: Request, pk: int) -> Response:
        """Parts of one number are drilled together."""
        services.add_positions(assembly=self.row(pk), **body_of(PositionsIn, request), by=caller(request))
        return tagged(self.shown(pk))

    @extend_schema(
        operation_id="assemblies_deed",
        summary="Write down what was done to marked pieces",
        request=DeedIn,
        responses={200: AssemblyOut, **problems(409)},
        examples=[sent_as({"deed": "drilled", "first": 1, "last": 8, "on": "2027-03-02", "drill": "40"}), shown_as(ASSEMBLY)],
    )
    @once
    def deed(self, request: Request, pk: int) -> Response:
        """One line for every marked piece of these numbers. Lines are never changed."""
        row, given = self.row(pk), body_of(DeedIn, request)
        done = Done(*(given[name] for name in ("deed", "on", "drill", "final", "note")))
        named = {"first": given["first"], "last": given["last"]}
        services.note_deed(assembly=row, done=done, **named, by=caller(request), today=timezone.localdate())
        return tagged(self.shown(pk))


def assembly_shown(row: Assembly) -> dict[str, Any]:
    """An assembly as it is shown. Six queries."""
    return answer.assembly_object(assembled.assembly_view(row))


def _phased(project: Project, given: Iterable[dict[str, Any]]) -> list[tuple[Step, str]]:
    rows = list(given)
    return [(step, one["phase"]) for one in rows for step in _steps(project, [one["step"]])]


def _piece(given: dict[str, Any]) -> Piece:
    return Piece(given["lot"], given["words"], given["reason"])


@extend_schema(tags=_ASSEMBLIES)
class PositionViews(GenericViewSet[Position]):
    """A position of an assembly."""

    queryset = Position.objects.none()
    serializer_class = PieceIn

    @extend_schema(
        operation_id="positions_mark",
        summary="Mark a piece for a position",
        request=PieceIn,
        responses={201: AssemblyOut, **problems(404, 409)},
        examples=[sent_as({"lot": 41, "on": "2027-03-01"}), shown_as(ASSEMBLY)],
    )
    @once
    def mark(self, request: Request, pk: int) -> Response:
        """A position holds one piece; its marks are never given twice."""
        row = get_object_or_404(Position.objects.select_related("assembly__project__bench__workshop"), pk=pk)
        given = body_of(PieceIn, request)
        services.mark(position=row, piece=_piece(given), on=given["on"], by=caller(request), today=timezone.localdate())
        return tagged(assembly_shown(row.assembly), status=201, Location=reverse("api-assembly", args=[row.assembly_id]))


@extend_schema(tags=_ASSEMBLIES)
class MarkViews(GenericViewSet[Mark]):
    """A piece that was marked."""

    queryset = Mark.objects.none()
    serializer_class = ReplaceIn

    def row(self, pk: int) -> Mark:
        """One of the workshop."""
        return get_object_or_404(Mark.objects.select_related("position__assembly__project__bench__workshop"), pk=pk)

    @extend_schema(
        operation_id="marks_replace",
        summary="Replace a marked piece",
        request=ReplaceIn,
        responses={200: AssemblyOut, **problems(404, 409)},
        examples=[sent_as({"why": "edge distance gone", "lot": 41, "on": "2027-03-04"}), shown_as(ASSEMBLY)],
    )
    @once
    def replace(self, request: Request, pk: int) -> Response:
        """The new piece gets a mark of its own."""
        row, given = self.row(pk), body_of(ReplaceIn, request)
        said = {"why": given["why"], "piece": _piece(given), "on": given["on"]}
        services.replace(mark=row, **said, by=caller(request), today=timezone.localdate())
        return tagged(assembly_shown(row.position.assembly))

    @extend_schema(
        operation_id="marks_away",
        summary="Take a marked piece away",
        request=AwayIn,
        responses={200: AssemblyOut, **problems(409)},
        examples=[sent_as({"why": "cracked", "on": "2027-03-04"}), shown_as(ASSEMBLY)],
    )
    @once
    def away(self, request: Request, pk: int) -> Response:
        """Its history stays."""
        row = self.row(pk)
        services.take_away(mark=row, **body_of(AwayIn, request), by=caller(request), today=timezone.localdate())
        return tagged(assembly_shown(row.position.assembly))

    @extend_schema(
        operation_id="marks_take_for",
        summary="Take a piece for another position",
        request=TakeForIn,
        responses={200: AssemblyOut, **problems(404, 409)},
        examples=[sent_as({"position": 6, "reason": "drilled from one template", "on": "2027-03-04"}), shown_as(ASSEMBLY)],
    )
    @once
    def take_for(self, request: Request, pk: int) -> Response:
        """A piece that is there changes places with it; both get a new mark."""
        row = self.row(pk)
        services.take_for(mark=row, **body_of(TakeForIn, request), by=caller(request), today=timezone.localdate())
        return tagged(assembly_shown(row.position.assembly))


urlpatterns = [
    path("conflicts", ConflictViews.as_view({"get": "list", "post": "create"}), name="api-conflicts"),
    path("conflicts/<int:pk>", ConflictViews.as_view({"get": "retrieve", "patch": "partial_update"}), name="api-conflict"),
    path("conflicts/<int:pk>/answers", ConflictViews.as_view({"post": "answer"}), name="api-conflict-answers"),
    path("conflicts/<int:pk>/settle", ConflictViews.as_view({"post": "settle"}), name="api-conflict-settle"),
    path("conflicts/<int:pk>/reopen", ConflictViews.as_view({"post": "reopen"}), name="api-conflict-reopen"),
    path("assemblies", AssemblyViews.as_view({"get": "list", "post": "create"}), name="api-assemblies"),
    path("assemblies/<int:pk>", AssemblyViews.as_view({"get": "retrieve", "patch": "partial_update"}), name="api-assembly"),
    path("assemblies/<int:pk>/positions", AssemblyViews.as_view({"post": "positions"}), name="api-assembly-positions"),
    path("assemblies/<int:pk>/done", AssemblyViews.as_view({"post": "deed"}), name="api-assembly-done"),
    path("positions/<int:pk>/mark", PositionViews.as_view({"post": "mark"}), name="api-position-mark"),
    path("marks/<int:pk>/replace", MarkViews.as_view({"post": "replace"}), name="api-mark-replace"),
    path("marks/<int:pk>/away", MarkViews.as_view({"post": "away"}), name="api-mark-away"),
    path("marks/<int:pk>/take-for", MarkViews.as_view({"post": "take_for"}), name="api-mark-take-for"),
]

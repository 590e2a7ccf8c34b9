"""Loads by page, for programs: which there are, and how far each is. They are chosen and started on their pages alone."""

from typing import Any, ClassVar

from django.db.models import QuerySet
from django.urls import path
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from buildplan.loading import job_files, jobs, worker
from buildplan.loading.models import JobState, LoadJob
from buildplan.loading.tables import KINDS
from inventory.common.schema import shown_as
from inventory.workshop import policy
from inventory.workshop.request import caller

LOAD_KINDS = [(kind, kind) for kind in KINDS]


class LoadRowOut(serializers.Serializer[Any]):
    """A load as a list shows it."""

    id = serializers.IntegerField()
    kind = serializers.ChoiceField(LOAD_KINDS)
    state = serializers.ChoiceField(JobState.choices, help_text="chosen: its files are there, and nobody asked to load them since")
    files = serializers.SerializerMethodField()
    rows = serializers.IntegerField(help_text="how many its files have")
    by = serializers.CharField(source="by.name")
    made_at = serializers.DateTimeField()
    started_at = serializers.DateTimeField(allow_null=True)
    ended_at = serializers.DateTimeField(allow_null=True)

    def get_files(self, job: LoadJob) -> list[str]:
        """Their names."""
        return [file["name"] for file in job.files]


class LoadOut(LoadRowOut):
    """A load with what came of it. All of it is loaded, or nothing."""

    interrupted = serializers.SerializerMethodField(help_text="it says running, and its process is gone: nothing of it is kept")
    worker = serializers.SerializerMethodField(help_text="whether a worker is there, which long loads wait for")
    rows_read = serializers.SerializerMethodField(help_text="how far it is, while it is running")
    dry_run = serializers.SerializerMethodField(help_text="it was only looked at: nothing was written")
    loaded = serializers.SerializerMethodField(help_text="what was written, or by a look would be: counts, which depend on the kind")
    made = serializers.SerializerMethodField(help_text="what was made on the way, such as a crate")
    warnings = serializers.SerializerMethodField(help_text="what somebody should look at")
    errors = serializers.SerializerMethodField(help_text="every fault that stood in its way")  # type: ignore[assignment]

    def get_interrupted(self, job: LoadJob) -> bool:
        """Nobody is at it."""
        return jobs.is_interrupted(job)

    def get_worker(self, job: LoadJob) -> bool:
        """One at least."""
        del job
        return worker.is_present()

    def get_rows_read(self, job: LoadJob) -> int | None:
        """Null before and after."""
        return min(job_files.rows_read(job), job.rows) if job.state == JobState.RUNNING else None

    def get_dry_run(self, job: LoadJob) -> bool:
        """As it was asked for last."""
        return bool(job.choices.get("dry_run"))

    def get_loaded(self, job: LoadJob) -> dict[str, int]:
        """Counts by what they count."""
        return {name: count for name, count in _loaded(job).items() if name != "made"}

    def get_made(self, job: LoadJob) -> list[str]:
        """In words."""
        return list(_loaded(job).get("made", []))

    def get_warnings(self, job: LoadJob) -> list[str]:
        """In words."""
        return list(job.result.get("warnings", []))

    def get_errors(self, job: LoadJob) -> list[str]:
        """In words."""
        return list(job.result.get("errors", []))


def _loaded(job: LoadJob) -> dict[str, Any]:
    return dict(job.result.get("loaded") or {})


class LoadFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Loads."""

    kind = filters.ChoiceFilter(choices=LOAD_KINDS, help_text="only of this kind")
    state = filters.ChoiceFilter(choices=JobState.choices, help_text="only in this state")

    class Meta:
        model = LoadJob
        fields: ClassVar[list[str]] = []


_ROW = {
    "id": 8,
    "kind": "plan",
    "state": "done",
    "files": ["steps.csv", "needs.csv"],
    "rows": 3120,
    "by": "Wren",
    "made_at": "2027-03-06T09:00:00Z",
    "started_at": "2027-03-06T09:02:10Z",
    "ended_at": "2027-03-06T09:02:31Z",
}
_CAME = {
    "interrupted": False,
    "worker": True,
    "rows_read": None,
    "dry_run": False,
    "loaded": {"steps": 620, "needs": 2500},
    "made": ["project TERN-1"],
    "warnings": [],
    "errors": [],
}


@extend_schema_view(
    list=extend_schema(operation_id="loads_list", summary="List loads", responses=LoadRowOut(many=True), examples=[shown_as(_ROW)]),
    retrieve=extend_schema(operation_id="loads_retrieve", summary="Read a load", responses=LoadOut, examples=[shown_as({**_ROW, **_CAME})]),
)
@extend_schema(tags=["loads"])
class LoadViews(ListModelMixin, GenericViewSet[LoadJob]):
    """Files that were chosen on the pages to be loaded. Who keeps the stock sees them, as there."""

    queryset = LoadJob.objects.none()
    serializer_class = LoadRowOut
    filterset_class = LoadFilter
    ordering: ClassVar = "-pk"

    def get_queryset(self) -> QuerySet[LoadJob]:
        """All of the workshop. One query."""
        return LoadJob.objects.select_related("by")

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """The newest first."""
        policy.require(caller(request), "keep_stock")
        return super().list(request, *args, **kwargs)

    def retrieve(self, request: Request, pk: int) -> Response:
        """How far it is, and what came of it."""
        found = get_object_or_404(self.get_queryset(), pk=pk)
        policy.require(caller(request), "keep_stock")
        return Response(LoadOut(found).data)


urlpatterns = [
    path("loads", LoadViews.as_view({"get": "list"}), name="api-loads"),
    path("loads/<int:pk>", LoadViews.as_view({"get": "retrieve"}), name="api-load"),
]

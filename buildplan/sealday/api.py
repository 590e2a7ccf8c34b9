"""Seal days and the batches mixed on them, for programs: the same figures as the pages."""

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar
from uuid import uuid4

from django.db import transaction
from django.db.models import Count, Prefetch, Q, QuerySet
from django.urls import path, reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from buildplan.sealday import answer, queries, services
from buildplan.sealday.filters import SealDayFilter
from buildplan.sealday.models import DayCheck, DayMix, DayStep, SealDay
from buildplan.sealday.services import Outcome, PersonData
from buildplan.sealday.shapes import (
    CallOffIn,
    CloseIn,
    DataSheetsIn,
    MixIn,
    MixPatch,
    MovedOut,
    MoveIn,
    NightCheckIn,
    PeopleIn,
    SealDayIn,
    SealDayOut,
    SealDayPatch,
    SealDayRowOut,
    SealMixOut,
    told,
)
from buildplan.sealing import services as sealing
from buildplan.sealing.models import Mix
from buildplan.sealing.queries import mixes
from buildplan.sealing.services import Take
from inventory.common.api_fields import body_of
from inventory.common.etags import TaggedRows, tagged
from inventory.common.schema import problems, sent_as, shown_as
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

FIGURES = frozenset({"temperature_f", "pace", "division", "note"})
ROW = {
    "id": 4,
    "bench": "TERN",
    "on": "2027-03-06",
    "state": "open",
    "held": False,
    "steps": ["F3-04", "F3-05"],
    "people": 2,
    "mixed": 0,
    "note": "",
}
_STEP = {"project": "TERN-1", "step": "F3-04"}
_DAY = {"bench": "TERN", "on": "2027-03-06", "steps": [_STEP], "temperature_f": "72", "pace": "40", "division": "0.1"}
_ADA = {"name": "Ada", "comes": "09:00", "goes": "17:00"}
_PRODUCT = {
    "item": "SEAL-B2",
    "name": "Sealant, class B-2",
    "needed": "15",
    "mixed": "0",
    "open": "15",
    "short": "0",
    "life_hours": "2",
    "cure_hours": "14",
    "work_life_hours": 2.4,
    "most": "40",
    "stopped": False,
    "exact": True,
    "faults": [],
    "cured_at": "2027-03-07T07:00:00Z",
    "trace": [{"text": "F3-04 takes 15 g: seam S1", "source": "its geometry"}],
}
_BATCH = {
    "number": 1,
    "item": "SEAL-B2",
    "grams": "15",
    "base": "13.636",
    "accelerator": "1.364",
    "error": "3.7 %",
    "refused": "",
    "lots": [{"lot": 41, "label": "R7", "grams": "15", "places": [{"place": "Hangar/Fridge", "there": "120"}]}],
    "shares": [{"step_id": 9, "step": "F3-04", "grams": "15"}],
    "trace": [{"text": "15 g = 13.636 g base + 1.364 g accelerator", "source": "100 : 10 by weight, as the catalogue says"}],
}
DAY = {
    **{name: ROW[name] for name in ("id", "bench", "on", "state", "held", "note")},
    "temperature_f": "72",
    "pace": "40",
    "division": "0.1",
    "closed_at": None,
    "called_off_at": None,
    "people": [{"name": "Ada", "member": None, "comes": "09:00", "goes": "17:00", "hours": "8"}],
    "hands": 1,
    "hours": "8",
    "minutes": 120,
    "steps": [
        {
            "id": 9,
            **_STEP,
            "title": "Seal the frames",
            "minutes": 120,
            "done": False,
            "planned_on": "2027-03-06",
            "waits_for": [],
            "carried_to": None,
            "reason": "",
        }
    ],
    "products": [_PRODUCT],
    "batches": [_BATCH],
    "mixed": [],
    "supplies": [{"name": "Cup", "each": "1", "total": "1", "unit": "ea"}],
    "clecos": [],
    "blocked": [],
    "missing": [],
    "checks": [],
    "faults": [],
    "trace": [{"text": "1 person is there at the least while anybody is, 8 h", "source": "the people's hours, as entered"}],
}
MIX = {
    "id": 12,
    "seal_day": 4,
    "number": 1,
    "item": "SEAL-B2",
    "base": "13.6",
    "accelerator": "1.4",
    "grams": "15",
    "lots": ["R7"],
    "shares": [{"step_id": 9, "step": "F3-04", "grams": "15"}],
    "mixed_at": "2027-03-06T10:30:00Z",
    "mixed_by": "Ada",
    "temperature_f": "71",
    "work_until": "2027-03-06T12:54:00Z",
    "left": None,
    "ended_at": None,
    "taken_back_at": None,
    "note": "",
    "warnings": [],
    "ratio_trace": [],
}
_MIX = {
    **{name: MIX[name] for name in ("item", "base", "accelerator", "mixed_at", "mixed_by", "temperature_f")},
    "takes": [{"lot": 41, "place": "Hangar/Fridge", "grams": "15"}],
    "shares": [{**_STEP, "grams": "15"}],
}
_MOVED = {
    "moved": False,
    "before": [DAY],
    "after": [{**DAY, "on": "2027-03-13"}],
    "changes": [{"what": "seal day of F3-04", "before": "2027-03-06", "after": "2027-03-13"}],
}
_TAGS = ["seal days"]


def _people(given: Sequence[Mapping[str, Any]]) -> list[PersonData]:
    return [PersonData(one["name"], one["comes"], one["goes"], one["member"]) for one in given]


@extend_schema_view(
    list=extend_schema(summary="List seal days", responses={200: SealDayRowOut(many=True)}, examples=[shown_as(ROW)]),
    retrieve=extend_schema(summary="Read a seal day", responses={200: SealDayOut}, examples=[shown_as(DAY)]),
    create=extend_schema(
        summary="Plan a seal day",
        request=SealDayIn,
        responses={201: SealDayOut, **problems(404, 409)},
        examples=[sent_as({**_DAY, "people": [_ADA]}), shown_as(DAY)],
    ),
    partial_update=extend_schema(
        summary="Change a seal day",
        request=SealDayPatch,
        responses={200: SealDayOut, **problems(404, 409)},
        examples=[sent_as({"temperature_f": "68"}), shown_as({**DAY, "temperature_f": "68"})],
    ),
)
@extend_schema(tags=_TAGS)
class SealDayViews(TaggedRows, ListModelMixin, GenericViewSet[SealDay]):
    """Days of sealing. What follows from a day is worked out whenever it is read."""

    queryset = SealDay.objects.none()
    serializer_class = SealDayRowOut
    patch_serializer_class = SealDayPatch
    filterset_class = SealDayFilter
    ordering: ClassVar = ("on", "pk")

    def get_queryset(self) -> QuerySet[SealDay]:
        """With steps and counts. Two queries."""
        steps = Prefetch("steps", DayStep.objects.select_related("step").order_by("step__project__code", "step__position"))
        standing = Count("mixes", filter=Q(mixes__mix__taken_back_at=None), distinct=True)
        rows = SealDay.objects.select_related("bench__workshop").prefetch_related(steps)
        return rows.annotate(there=Count("people", distinct=True), mixed_count=standing)

    def row(self, pk: int) -> SealDay:
        """Without what a list counts."""
        return get_object_or_404(SealDay.objects.select_related("bench__workshop"), pk=pk)

    def shown(self, pk: int) -> dict[str, Any]:
        """All of the page, as of now."""
        now = timezone.now()
        return answer.as_object(queries.view(self.row(pk), today=timezone.localdate(now), now=now))

    @once
    def create(self, request: Request) -> Response:
        """Plan a day: its steps are planned for it. What the data sheets say is taken over from the last day with the same products."""
        given = body_of(SealDayIn, request)
        people = given.pop("people", None)
        by, today = caller(request), timezone.localdate()
        made = services.plan_seal_day(**given, by=by, today=today)
        if people is not None:
            services.set_people(day=made, people=_people(people), by=by)
        return tagged(self.shown(made.pk), status=201, Location=reverse("api-seal-day", args=[made.pk]))

    def change(self, row: SealDay, data: dict[str, Any]) -> None:
        """Each by its own service."""
        by, now = caller(self.request), timezone.now()
        today = timezone.localdate(now)
        if FIGURES & data.keys():
            services.change_seal_day(day=row, **told(data, row), by=by)
        if "steps" in data:
            services.set_steps(day=row, steps=data["steps"], by=by, today=today)
        if data.get("held") is True:
            services.hold_lots(day=row, by=by, today=today, now=now)
        elif data.get("held") is False:
            services.release_lots(day=row, by=by)

    @extend_schema(
        operation_id="seal_days_people",
        summary="Say who is there",
        request=PeopleIn,
        responses={200: SealDayOut, **problems(404, 409)},
        examples=[sent_as({"people": [_ADA]}), shown_as(DAY)],
    )
    @transaction.atomic
    def people(self, request: Request, pk: int) -> Response:
        """All who are there, instead of those who were named before. If-Match takes the day's ETag."""
        row = self._seen(request, pk)
        services.set_people(day=row, people=_people(body_of(PeopleIn, request)["people"]), by=caller(request))
        return tagged(self.shown(pk))

    @extend_schema(
        operation_id="seal_days_products",
        summary="Say what data sheets say",
        request=DataSheetsIn,
        responses={200: SealDayOut, **problems(404, 409)},
        examples=[sent_as({"products": [{"item": "SEAL-B2", "life_hours": "2", "cure_hours": "14"}]}), shown_as(DAY)],
    )
    @transaction.atomic
    def products(self, request: Request, pk: int) -> Response:
        """Work life and hours until it is cured, for the products that are named. If-Match takes the day's ETag."""
        row = self._seen(request, pk)
        for sheet in body_of(DataSheetsIn, request)["products"]:
            services.set_product(day=row, **sheet, by=caller(request))
        return tagged(self.shown(pk))

    @extend_schema(
        operation_id="seal_days_move",
        summary="Move a seal day, or look what that would change",
        request=MoveIn,
        responses={200: MovedOut, **problems(409)},
        examples=[sent_as({"to": "2027-03-13", "look": True, "later": True}), shown_as(_MOVED)],
    )
    @once
    def move(self, request: Request, pk: int) -> Response:
        """The look is the move itself, rolled back, so the two can't differ. With `look` nothing is changed."""
        row, now, given = self.row(pk), timezone.now(), body_of(MoveIn, request)
        said = {
            "days": [row, *given["along"]],
            "to": given["to"],
            "later": given["later"],
            "by": caller(request),
            "today": timezone.localdate(now),
            "now": now,
        }
        found = services.try_move(**said)
        if not given["look"]:
            services.move(**said)
        return Response(answer.moved_object(found, moved=not given["look"]))

    @extend_schema(
        operation_id="seal_days_mix",
        summary="Write down a batch that was mixed",
        request=MixIn,
        responses={201: SealMixOut, **problems(404, 409)},
        examples=[sent_as(_MIX), shown_as(MIX)],
    )
    @once
    def mix(self, request: Request, pk: int) -> Response:
        """It takes what it took of its lots from stock; each of its steps then needs so much less. A lot past its life is refused."""
        row, given = self.row(pk), body_of(MixIn, request)
        said = {
            **given,
            "key": given.get("key") or uuid4(),
            "takes": [Take(one["lot"], one["place"], one["grams"]) for one in given["takes"]],
            "shares": [(one["step"], one["grams"]) for one in given["shares"]],
        }
        made = services.mix(day=row, **said, on=timezone.localdate(given["mixed_at"]), by=caller(request))
        return tagged(mix_shown(made.mix_id), status=201, Location=reverse("api-mix", args=[made.mix_id]))

    @extend_schema(
        operation_id="seal_days_check",
        summary="Tick a line of the list to the night before",
        request=NightCheckIn,
        responses={200: SealDayOut, **problems(409)},
        examples=[sent_as({"text": "borrow the second gun", "done": True}), shown_as(DAY)],
    )
    @once
    def check(self, request: Request, pk: int) -> Response:
        """With `done` false the tick goes. A line of people's own that isn't there yet is put on the list."""
        row, given, by = self.row(pk), body_of(NightCheckIn, request), caller(request)
        if not given["key"] and not DayCheck.objects.filter(day=row, key="", text=given["text"].strip()).exists():
            services.add_check(day=row, text=given["text"], by=by)
        services.tick(day=row, **given, by=by, now=timezone.now())
        return tagged(self.shown(pk))

    @extend_schema(
        operation_id="seal_days_close",
        summary="Close a seal day",
        request=CloseIn,
        responses={200: SealDayOut, **problems(404, 409)},
        examples=[
            sent_as({"outcomes": [{**_STEP, "done": False, "carry_to": "2027-03-13", "reason": "too cold"}]}),
            shown_as({**DAY, "state": "closed", "closed_at": "2027-03-06T17:10:00Z"}),
        ],
    )
    @once
    def close(self, request: Request, pk: int) -> Response:
        """What is done is finished with what it takes beside its batches, what isn't is carried over. All or nothing."""
        row, now = self.row(pk), timezone.now()
        outcomes = [Outcome(**one) for one in body_of(CloseIn, request)["outcomes"]]
        services.close(day=row, outcomes=outcomes, by=caller(request), today=timezone.localdate(now), now=now)
        return tagged(self.shown(pk))

    @extend_schema(
        operation_id="seal_days_call_off",
        summary="Call a seal day off",
        request=CallOffIn,
        responses={200: SealDayOut, **problems(409)},
        examples=[
            sent_as({"reason": "the heater is out"}),
            shown_as({**DAY, "state": "called off", "called_off_at": "2027-03-05T20:00:00Z", "note": "Called off: the heater is out"}),
        ],
    )
    @once
    def call_off(self, request: Request, pk: int) -> Response:
        """Its steps keep their date until they are planned anew."""
        services.call_off(day=self.row(pk), **body_of(CallOffIn, request), by=caller(request), now=timezone.now())
        return tagged(self.shown(pk))


def mix_shown(pk: int) -> dict[str, Any]:
    """A batch as it is shown. Five queries."""
    (row,) = mixes(pk=pk)
    day = DayMix.objects.filter(mix=pk).values_list("day_id", flat=True).first()
    number = DayMix.objects.filter(day=day, mix__lte=pk).count() if day else None
    return answer.mix_object(row, day=day, number=number)


@extend_schema_view(
    retrieve=extend_schema(summary="Read a batch", responses={200: SealMixOut}, examples=[shown_as(MIX)]),
    partial_update=extend_schema(
        summary="Say what was left of a batch",
        request=MixPatch,
        responses={200: SealMixOut, **problems(409)},
        examples=[sent_as({"left": "1.2"}), shown_as({**MIX, "left": "1.2", "ended_at": "2027-03-06T12:20:00Z"})],
    ),
)
@extend_schema(tags=_TAGS)
class MixViews(TaggedRows, GenericViewSet[Mix]):
    """Batches that were mixed."""

    queryset = Mix.objects.none()
    serializer_class = SealMixOut
    patch_serializer_class = MixPatch

    def row(self, pk: int) -> Mix:
        """One of the workshop."""
        return get_object_or_404(Mix.objects.select_related("item", "workshop"), pk=pk)

    def shown(self, pk: int) -> dict[str, Any]:
        """As a reader is given it."""
        self.row(pk)
        return mix_shown(pk)

    def change(self, row: Mix, data: dict[str, Any]) -> None:
        """The whole of it is said each time."""
        if "left" not in data:
            raise serializers.ValidationError({"left": ["Say how many grams were left over."]})
        at = data.get("at") or row.ended_at or timezone.now()
        sealing.end_mix(mix=row, left=data["left"], at=at, by=caller(self.request))

    @extend_schema(
        operation_id="mixes_take_back",
        summary="Take a batch back",
        request=None,
        responses={200: SealMixOut, **problems(409)},
        examples=[shown_as({**MIX, "taken_back_at": "2027-03-06T10:40:00Z"})],
    )
    @once
    def take_back(self, request: Request, pk: int) -> Response:
        """What it took goes back where it lay, and its steps need it again. The batch itself stays on record."""
        now = timezone.now()
        sealing.take_back_mix(mix=self.row(pk), on=timezone.localdate(now), now=now, by=caller(request))
        return tagged(self.shown(pk))


def _act(name: str) -> dict[str, Any]:
    return {"post": name}


urlpatterns = [
    path("seal-days", SealDayViews.as_view({"get": "list", "post": "create"}), name="api-seal-days"),
    path("seal-days/<int:pk>", SealDayViews.as_view({"get": "retrieve", "patch": "partial_update"}), name="api-seal-day"),
    path("seal-days/<int:pk>/people", SealDayViews.as_view({"put": "people"}), name="api-seal-day-people"),
    path("seal-days/<int:pk>/products", SealDayViews.as_view({"put": "products"}), name="api-seal-day-products"),
    path("seal-days/<int:pk>/move", SealDayViews.as_view(_act("move")), name="api-seal-day-move"),
    path("seal-days/<int:pk>/mixes", SealDayViews.as_view(_act("mix")), name="api-seal-day-mixes"),
    path("seal-days/<int:pk>/checks", SealDayViews.as_view(_act("check")), name="api-seal-day-checks"),
    path("seal-days/<int:pk>/close", SealDayViews.as_view(_act("close")), name="api-seal-day-close"),
    path("seal-days/<int:pk>/call-off", SealDayViews.as_view(_act("call_off")), name="api-seal-day-call-off"),
    path("mixes/<int:pk>", MixViews.as_view({"get": "retrieve", "patch": "partial_update"}), name="api-mix"),
    path("mixes/<int:pk>/take-back", MixViews.as_view(_act("take_back")), name="api-mix-take-back"),
]

"""Rules of storage, temperatures, update tests, acceptances and disposals, for programs."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.urls import path, reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from inventory.catalogue.api import item_field
from inventory.common.api_fields import DecimalOut, QuantityIn
from inventory.common.etags import TaggedRows, tagged
from inventory.common.schema import problems, sent_as, shown_as
from inventory.shelflife import logs, services
from inventory.shelflife.filters import AcceptanceFilter, DisposalFilter, RuleFilter, TemperatureFilter, TestFilter
from inventory.shelflife.forms import MOST_DAYS, MOST_HOURS
from inventory.shelflife.models import Acceptance, Disposal, StorageRule, Temperature, UpdateTest
from inventory.shelflife.services import MOST_TEXT
from inventory.shelflife.storage import Reading
from inventory.stock.api import lot_field, place_field
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

MOST_POSTED = 5000


def _not_to_come(day: date) -> None:
    today = timezone.localdate()
    if day > today:
        raise serializers.ValidationError(f"{day} is still to come: give a day up to {today}.")


# Rules of storage


class StorageRuleOut(serializers.Serializer[StorageRule]):
    """How an item is to be stored, in Celsius; null where nothing is stated."""

    id = serializers.IntegerField()
    item = serializers.CharField(source="item.code")
    item_id = serializers.IntegerField()
    low = DecimalOut(allow_null=True)
    high = DecimalOut(allow_null=True)
    use_within_days = serializers.IntegerField(allow_null=True, help_text="after a time outside low to high, from its start")
    never_below = DecimalOut(allow_null=True)
    never_above = DecimalOut(allow_null=True)
    longest_gap_hours = serializers.IntegerField(help_text="how long a reading holds")
    source = serializers.CharField(help_text="where this is written")  # type: ignore[assignment] # a declared field


class StorageRulePatch(serializers.Serializer[Any]):
    """What may be changed of a rule of storage."""

    low = serializers.DecimalField(5, 2, required=False, allow_null=True)
    high = serializers.DecimalField(5, 2, required=False, allow_null=True)
    use_within_days = serializers.IntegerField(required=False, allow_null=True, min_value=0, max_value=MOST_DAYS)
    never_below = serializers.DecimalField(5, 2, required=False, allow_null=True)
    never_above = serializers.DecimalField(5, 2, required=False, allow_null=True)
    longest_gap_hours = serializers.IntegerField(required=False, min_value=1, max_value=MOST_HOURS)
    source = serializers.CharField(max_length=MOST_TEXT)  # type: ignore[assignment] # a declared field; the class keeps its own `source`


class StorageRuleIn(StorageRulePatch):
    """A rule of storage to be set."""

    item = item_field()


RULE = {
    "id": 3,
    "item": "SEAL-B2",
    "item_id": 15,
    "low": None,
    "high": "27",
    "use_within_days": 35,
    "never_below": "4.5",
    "never_above": "35",
    "longest_gap_hours": 6,
    "source": "the product's data sheet, storage",
}
_RULE = {name: RULE[name] for name in ("item", "high", "use_within_days", "never_below", "never_above", "source")}
_STATED = ("low", "high", "use_within_days", "never_below", "never_above", "longest_gap_hours", "source")


@extend_schema_view(
    list=extend_schema(summary="List rules of storage", examples=[shown_as(RULE)]),
    retrieve=extend_schema(summary="Read a rule of storage", examples=[shown_as(RULE)]),
    create=extend_schema(
        summary="Set a rule of storage",
        request=StorageRuleIn,
        responses={200: StorageRuleOut, 201: StorageRuleOut, **problems(404)},
        examples=[sent_as(_RULE), shown_as(RULE)],
    ),
    partial_update=extend_schema(
        summary="Change a rule of storage",
        request=StorageRulePatch,
        responses={200: StorageRuleOut},
        examples=[sent_as({"use_within_days": 30}), shown_as({**RULE, "use_within_days": 30})],
    ),
    destroy=extend_schema(summary="Forget a rule of storage", responses={204: None}),
)
@extend_schema(tags=["shelf life"])
class RuleViews(TaggedRows, ListModelMixin, GenericViewSet[StorageRule]):
    """How items are stored. None is assumed."""

    queryset = StorageRule.objects.none()
    serializer_class = StorageRuleOut
    patch_serializer_class = StorageRulePatch
    filterset_class = RuleFilter

    def get_queryset(self) -> QuerySet[StorageRule]:
        """With their items. One query."""
        return StorageRule.objects.select_related("item")

    @once
    def create(self, request: Request) -> Response:
        """Set the rule of an item. Where there is one, it is replaced and the answer is 200."""
        asked = StorageRuleIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        known = StorageRule.objects.filter(item=given["item"]).exists()
        rule = services.save_rule(**given, by=caller(request), now=timezone.now())
        return tagged(self.shown(rule.pk), status=200 if known else 201, Location=reverse("api-storage-rule", args=[rule.pk]))

    def change(self, row: StorageRule, data: dict[str, Any]) -> None:
        """Only what is given."""
        kept = {name: getattr(row, name) for name in _STATED}
        services.save_rule(item=row.item, **{**kept, **data}, by=caller(self.request), now=timezone.now())

    def remove(self, row: StorageRule) -> None:
        """It isn't known any more."""
        services.remove_rule(rule=row, by=caller(self.request))


# Update tests


class UpdateTestOut(serializers.Serializer[UpdateTest]):
    """An update test, which speaks for the maker's whole batch."""

    __test__ = False  # pytest collects by this name
    id = serializers.IntegerField()
    lot = serializers.IntegerField(source="lot_id")
    item = serializers.CharField(source="lot.item.code")
    code = serializers.CharField(source="lot.code")
    on = serializers.DateField()
    passed = serializers.BooleanField()
    method = serializers.CharField()
    by = serializers.CharField(source="by.name")
    note = serializers.CharField()


class UpdateTestIn(serializers.Serializer[Any]):
    """An update test to be written down. A fail ends every lot of the batch in the workshop at once."""

    __test__ = False  # pytest collects by this name
    lot = lot_field()
    on = serializers.DateField(validators=[_not_to_come])
    passed = serializers.BooleanField()
    method = serializers.CharField(max_length=MOST_TEXT)
    note = serializers.CharField(required=False, allow_blank=True, max_length=MOST_TEXT)


TEST = {
    "id": 8,
    "lot": 41,
    "item": "SEAL-B2",
    "code": "R7",
    "on": "2027-04-02",
    "passed": True,
    "method": "tack-free time and hardness after 24 h",
    "by": "Ines",
    "note": "",
}
_TEST = {name: TEST[name] for name in ("lot", "on", "passed", "method")}


@extend_schema_view(
    list=extend_schema(summary="List update tests, the latest first", examples=[shown_as(TEST)]),
    retrieve=extend_schema(summary="Read an update test", examples=[shown_as(TEST)]),
    create=extend_schema(
        summary="Record an update test",
        request=UpdateTestIn,
        responses={201: UpdateTestOut, **problems(404, 409)},
        examples=[sent_as(_TEST), shown_as(TEST)],
    ),
)
@extend_schema(tags=["shelf life"])
class TestViews(TaggedRows, ListModelMixin, GenericViewSet[UpdateTest]):
    """Update tests. They are added, never changed."""

    __test__ = False  # pytest collects by this name
    queryset = UpdateTest.objects.none()
    serializer_class = UpdateTestOut
    filterset_class = TestFilter
    ordering: ClassVar = "-pk"

    def get_queryset(self) -> QuerySet[UpdateTest]:
        """All of the workshop. One query."""
        return UpdateTest.objects.select_related("lot__item", "by")

    @once
    def create(self, request: Request) -> Response:
        """Write it down: a pass adds to the life of the batch, a fail ends it."""
        asked = UpdateTestIn(data=request.data)
        asked.is_valid(raise_exception=True)
        made = services.record_test(**asked.validated_data, by=caller(request))
        return tagged(self.shown(made.pk), status=201, Location=reverse("api-update-test", args=[made.pk]))


# Acceptances


class AcceptanceOut(serializers.Serializer[Acceptance]):
    """An inspector's word that a lot may be used through a day."""

    id = serializers.IntegerField()
    lot = serializers.IntegerField(source="lot_id")
    item = serializers.CharField(source="lot.item.code")
    code = serializers.CharField(source="lot.code")
    on = serializers.DateField()
    until = serializers.DateField()
    reason = serializers.CharField()
    by = serializers.CharField(source="by.name")
    withdrawn = serializers.DateField(allow_null=True)
    withdrawn_why = serializers.CharField()


class AcceptanceIn(serializers.Serializer[Any]):
    """An acceptance to be recorded."""

    lot = lot_field()
    until = serializers.DateField(help_text="the last day on which it may be used")
    reason = serializers.CharField(max_length=MOST_TEXT)


class WithdrawIn(serializers.Serializer[Any]):
    """Why an acceptance is taken back."""

    why = serializers.CharField(required=False, allow_blank=True, max_length=MOST_TEXT)


ACCEPTANCE = {
    "id": 5,
    "lot": 41,
    "item": "SEAL-B2",
    "code": "R7",
    "on": "2027-04-02",
    "until": "2027-04-30",
    "reason": "sample cured hard; not for fuel wetted joints",
    "by": "Ines",
    "withdrawn": None,
    "withdrawn_why": "",
}
_ACCEPTANCE = {name: ACCEPTANCE[name] for name in ("lot", "until", "reason")}
_WITHDRAWN = {**ACCEPTANCE, "withdrawn": "2027-04-09", "withdrawn_why": "a second sample stayed soft"}


@extend_schema_view(
    list=extend_schema(summary="List acceptances, the latest first", examples=[shown_as(ACCEPTANCE)]),
    retrieve=extend_schema(summary="Read an acceptance", examples=[shown_as(ACCEPTANCE)]),
    create=extend_schema(
        summary="Accept a lot through a day",
        request=AcceptanceIn,
        responses={201: AcceptanceOut, **problems(404, 409)},
        examples=[sent_as(_ACCEPTANCE), shown_as(ACCEPTANCE)],
    ),
)
@extend_schema(tags=["shelf life"])
class AcceptanceViews(TaggedRows, ListModelMixin, GenericViewSet[Acceptance]):
    """Acceptances. They are withdrawn, never removed."""

    queryset = Acceptance.objects.none()
    serializer_class = AcceptanceOut
    filterset_class = AcceptanceFilter
    ordering: ClassVar = "-pk"

    def get_queryset(self) -> QuerySet[Acceptance]:
        """All of the workshop. One query."""
        return Acceptance.objects.select_related("lot__item", "lot__bench", "by")

    @once
    def create(self, request: Request) -> Response:
        """Accept it. Inspectors do."""
        asked = AcceptanceIn(data=request.data)
        asked.is_valid(raise_exception=True)
        made = services.accept(**asked.validated_data, on=timezone.localdate(), by=caller(request))
        return tagged(self.shown(made.pk), status=201, Location=reverse("api-acceptance", args=[made.pk]))

    @extend_schema(
        summary="Withdraw an acceptance",
        request=WithdrawIn,
        responses={200: AcceptanceOut, **problems(409)},
        examples=[sent_as({"why": "a second sample stayed soft"}), shown_as(_WITHDRAWN)],
    )
    @once
    def withdraw(self, request: Request, pk: int) -> Response:
        """Take it back."""
        found = get_object_or_404(self.get_queryset(), pk=pk)
        asked = WithdrawIn(data=request.data)
        asked.is_valid(raise_exception=True)
        services.withdraw(acceptance=found, **asked.validated_data, on=timezone.localdate(), by=caller(request))
        return tagged(self.shown(pk))


# Disposals


class DisposalOut(serializers.Serializer[Disposal]):
    """How scrapped goods left. The quantity is in `unit`, the mass in g."""

    id = serializers.IntegerField()
    lot = serializers.IntegerField(source="lot_id")
    item = serializers.CharField(source="lot.item.code")
    movement = serializers.IntegerField(source="movement_id")
    on = serializers.DateField(source="movement.on")
    quantity = DecimalOut(source="movement.quantity")
    unit = serializers.CharField(source="lot.item.unit")
    mass_g = DecimalOut()
    way = serializers.CharField(help_text="which way is right, local rules say")
    note = serializers.CharField()


class DisposalIn(serializers.Serializer[Any]):
    """Goods to be scrapped, with their mass and the way they go."""

    lot = lot_field()
    place = place_field()
    quantity = QuantityIn()
    mass_g = QuantityIn()
    way = serializers.CharField(max_length=MOST_TEXT)
    on = serializers.DateField(required=False, validators=[_not_to_come], help_text="today unless said otherwise")
    note = serializers.CharField(required=False, allow_blank=True, max_length=MOST_TEXT)


DISPOSAL = {
    "id": 2,
    "lot": 41,
    "item": "SEAL-B2",
    "movement": 902,
    "on": "2027-05-01",
    "quantity": "120",
    "unit": "g",
    "mass_g": "180",
    "way": "hazardous waste collection, cured",
    "note": "",
}
_DISPOSAL = {"lot": 41, "place": "Hangar/Fridge", "quantity": "120", "mass_g": "180", "way": DISPOSAL["way"]}


@extend_schema_view(
    list=extend_schema(summary="List disposals, the latest first", examples=[shown_as(DISPOSAL)]),
    retrieve=extend_schema(summary="Read a disposal", examples=[shown_as(DISPOSAL)]),
    create=extend_schema(
        summary="Dispose of goods",
        request=DisposalIn,
        responses={201: DisposalOut, **problems(404, 409)},
        examples=[sent_as(_DISPOSAL), shown_as(DISPOSAL)],
    ),
)
@extend_schema(tags=["shelf life"])
class DisposalViews(TaggedRows, ListModelMixin, GenericViewSet[Disposal]):
    """Disposals."""

    queryset = Disposal.objects.none()
    serializer_class = DisposalOut
    filterset_class = DisposalFilter
    ordering: ClassVar = "-pk"

    def get_queryset(self) -> QuerySet[Disposal]:
        """All of the workshop. One query."""
        return Disposal.objects.select_related("lot__item", "movement")

    @once
    def create(self, request: Request) -> Response:
        """Scrap them, and write down how they left."""
        asked = DisposalIn(data=request.data)
        asked.is_valid(raise_exception=True)
        made = services.dispose(**{"on": timezone.localdate(), **asked.validated_data}, by=caller(request))
        return tagged(self.shown(made.pk), status=201, Location=reverse("api-disposal", args=[made.pk]))


# Temperatures


class TemperatureOut(serializers.Serializer[Temperature]):
    """What a thermometer in a place showed."""

    place = serializers.CharField(source="place.path")
    at = serializers.DateTimeField()
    celsius = DecimalOut()


class ReadingIn(serializers.Serializer[Any]):
    """One reading."""

    at = serializers.CharField(max_length=40, help_text="an ISO time with its zone, such as 2027-03-14T09:30:00+01:00")
    temperature = serializers.DecimalField(7, 3)
    unit = serializers.ChoiceField(["C", "F"])

    def validate_at(self, value: str) -> datetime:
        """With its zone: which one a device means isn't guessed."""
        try:
            return logs.instant(value)
        except ValueError as error:
            raise serializers.ValidationError(str(error)) from error


class TemperaturesIn(serializers.Serializer[Any]):
    """The readings of one place, in order of time; all of them are kept, or none."""

    place = place_field()
    readings = serializers.ListField(child=ReadingIn(), min_length=1, max_length=MOST_POSTED)
    corrects = serializers.BooleanField(required=False, help_text="whether they overwrite others of the same times; storekeepers may")


class LoggedOut(serializers.Serializer[Any]):
    """What became of the readings."""

    added = serializers.IntegerField()
    known = serializers.IntegerField(help_text="there already, and the same")
    corrected = serializers.IntegerField()
    lots = serializers.ListField(child=serializers.IntegerField(), help_text="lots whose life that changed")


_READ = {"place": "Hangar/Fridge", "at": "2027-03-14T08:30:00Z", "celsius": "7.5"}
_POSTED = {"place": "Hangar/Fridge", "readings": [{"at": "2027-03-14T09:30:00+01:00", "temperature": "45.5", "unit": "F"}]}


@extend_schema_view(
    list=extend_schema(summary="List temperatures", examples=[shown_as(_READ)]),
    create=extend_schema(
        summary="Log temperatures",
        request=TemperaturesIn,
        responses={201: LoggedOut, **problems(404)},
        examples=[sent_as(_POSTED), shown_as({"added": 1, "known": 0, "corrected": 0, "lots": []})],
    ),
)
@extend_schema(tags=["shelf life"])
class TemperatureViews(ListModelMixin, GenericViewSet[Temperature]):
    """Temperature logs of places."""

    scopes: ClassVar[dict[str, str]] = {"POST": "scan"}
    queryset = Temperature.objects.none()
    serializer_class = TemperatureOut
    filterset_class = TemperatureFilter

    def get_queryset(self) -> QuerySet[Temperature]:
        """All of the workshop. One query."""
        return Temperature.objects.select_related("place")

    @once
    def create(self, request: Request) -> Response:
        """Keep them, and reckon what they cost what lies there."""
        asked = TemperaturesIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        readings = [Reading(one["at"], logs.celsius(Decimal(one["temperature"]), one["unit"])) for one in given["readings"]]
        kept = services.log_temperatures(
            place=given["place"], readings=readings, by=caller(request), now=timezone.now(), corrects=given.get("corrects", False)
        )
        lots = [lot.pk for lot in kept.changed]
        return Response({"added": kept.added, "known": kept.known, "corrected": kept.corrected, "lots": lots}, status=201)


_LIST: dict[str, Any] = {"get": "list", "post": "create"}
_ROW: dict[str, Any] = {"get": "retrieve"}
urlpatterns = [
    path("storage-rules", RuleViews.as_view(_LIST), name="api-storage-rules"),
    path(
        "storage-rules/<int:pk>",
        RuleViews.as_view({**_ROW, "patch": "partial_update", "delete": "destroy"}),
        name="api-storage-rule",
    ),
    path("update-tests", TestViews.as_view(_LIST), name="api-update-tests"),
    path("update-tests/<int:pk>", TestViews.as_view(_ROW), name="api-update-test"),
    path("acceptances", AcceptanceViews.as_view(_LIST), name="api-acceptances"),
    path("acceptances/<int:pk>", AcceptanceViews.as_view(_ROW), name="api-acceptance"),
    path("acceptances/<int:pk>/withdraw", AcceptanceViews.as_view({"post": "withdraw"}), name="api-acceptance-withdraw"),
    path("disposals", DisposalViews.as_view(_LIST), name="api-disposals"),
    path("disposals/<int:pk>", DisposalViews.as_view(_ROW), name="api-disposal"),
    path("temperatures", TemperatureViews.as_view(_LIST), name="api-temperatures"),
]

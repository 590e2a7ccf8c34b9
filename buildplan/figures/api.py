"""The bench's calculators for programs, each described by what it is made of."""

from typing import Any, cast

from django.http import Http404
from django.urls import URLPattern, path
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from buildplan.figures.calculator import Answer, Calculator, Input, InputError, ask
from buildplan.figures.calculators import CALCULATORS
from inventory.common.api_fields import ReasonOut
from inventory.common.documents import ProblemOut
from inventory.common.schema import ApiSchema

_OTHER = frozenset({"workshop", "format"})  # said to the site, not to a calculator
_REFUSALS: dict[tuple[int, str], type[ProblemOut]] = {(status, "application/problem+json"): ProblemOut for status in (400, 401, 404)}


class InputOut(serializers.Serializer[Any]):
    """One thing that a calculator asks for."""

    name = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment] # a declared field; the class keeps its own `label`
    help = serializers.CharField()
    unit = serializers.CharField(help_text="the units that do, blank for none")
    required = serializers.BooleanField()  # type: ignore[assignment] # likewise
    repeated = serializers.BooleanField(help_text="whether it may be given several times")
    choices = serializers.ListField(child=serializers.CharField(), help_text="empty where any text is read")
    example = serializers.CharField()


class CalculatorOut(serializers.Serializer[Any]):
    """A calculator and what it asks for."""

    name = serializers.CharField()
    title = serializers.CharField()
    about = serializers.CharField()
    inputs = InputOut(many=True)


class CalculatorsOut(serializers.Serializer[Any]):
    """All calculators."""

    figures = CalculatorOut(many=True)


class ResultOut(serializers.Serializer[Any]):
    """One result: an exact decimal, a fraction where no decimal is exact, a day or a word. A length comes in inches and in mm."""

    name = serializers.CharField()
    value = serializers.CharField()
    unit = serializers.CharField()
    note = serializers.CharField()


class FigureOut(serializers.Serializer[Any]):
    """What a calculator found, and why."""

    figure = serializers.CharField()
    inputs = serializers.DictField(help_text="as they were given; a repeated one is a list")
    results = ResultOut(many=True)
    trace = ReasonOut(many=True)
    cautions = ReasonOut(many=True)


def as_object(answer: Answer) -> dict[str, Any]:
    """An answer as the API gives it."""
    repeated = {one.name for one in answer.calculator.inputs if one.lines}
    return {
        "figure": answer.calculator.name,
        "inputs": {name: list(texts) if name in repeated else texts[0] for name, texts in answer.inputs.items()},
        "results": [{"name": row.name, "value": row.value, "unit": row.unit, "note": row.note} for row in answer.found.rows],
        "trace": [{"text": reason.text, "source": reason.source} for reason in answer.found.trace],
        "cautions": [{"text": reason.text, "source": reason.source} for reason in answer.cautions],
    }


def _described(one: Calculator) -> dict[str, Any]:
    return {"name": one.name, "title": one.title, "about": one.about, "inputs": [_described_input(each) for each in one.inputs]}


def _described_input(one: Input) -> dict[str, Any]:
    return {
        "name": one.name,
        "label": one.label,
        "help": one.help,
        "unit": one.unit,
        "required": one.required,
        "repeated": one.lines,
        "choices": list(one.choices),
        "example": one.example,
    }


class FiguresView(APIView):
    """All calculators."""

    @extend_schema(
        operation_id="figures",
        responses={200: CalculatorsOut, **{key: kind for key, kind in _REFUSALS.items() if key[0] != 400}},  # noqa: PLR2004
        examples=[
            OpenApiExample(
                "one of them",
                response_only=True,
                status_codes=["200"],
                value={"figures": [_described(CALCULATORS["drill"])]},
            )
        ],
    )
    def get(self, request: Request) -> Response:
        """List the calculators of the bench with what each asks for."""
        del request
        return Response({"figures": [_described(one) for one in CALCULATORS.values()]})


class FigureSchema(ApiSchema):
    """A calculator's own part of the API's description: its inputs, and its example with what comes out.

    Asked for only when the description is made: reckoning every example would slow every start of the site.
    """

    @property
    def calculator(self) -> Calculator:
        """The calculator of the view that is described."""
        return cast("FigureView", self.view).calculator

    def get_operation_id(self) -> str:
        """Its name, as a name of code."""
        return f"figure_{self.calculator.name.replace('-', '_')}"

    def get_description(self) -> str:  # type: ignore[override] # as drf-spectacular calls it
        """What it is for."""
        return self.calculator.about

    def get_override_parameters(self) -> list[OpenApiParameter | serializers.Serializer[Any] | type[serializers.Serializer[Any]]]:
        """Its inputs."""
        return [_parameter(one) for one in self.calculator.inputs]

    def get_examples(self) -> list[OpenApiExample]:
        """Its example's answer."""
        value = as_object(ask(self.calculator, self.calculator.example))
        return [OpenApiExample(self.calculator.title, response_only=True, status_codes=["200"], value=value)]


class FigureView(APIView):
    """One calculator: that of the address."""

    schema = FigureSchema()
    calculator: Calculator = CALCULATORS["drill"]  # each address sets its own

    @extend_schema(responses={200: FigureOut, **_REFUSALS})
    def get(self, request: Request) -> Response:
        """Reckon with what the address gives."""
        given = {name: request.query_params.getlist(name) for name in request.query_params if name not in _OTHER}
        try:
            return Response(as_object(ask(self.calculator, given)))
        except InputError as error:
            raise serializers.ValidationError({name: [text] for name, text in error.errors.items()}) from error


class NoFigureView(APIView):
    """Where the address names no calculator."""

    @extend_schema(exclude=True)
    def get(self, request: Request, name: str) -> Response:
        """Always a 404."""
        del request, name
        raise Http404


def _parameter(one: Input) -> OpenApiParameter:
    label = f"{one.label} ({one.unit})" if one.unit else one.label
    text = f"{label}: {one.help}" if one.help else label
    kind = bool if one.flag else str
    return OpenApiParameter(
        one.name,
        kind,
        description=f"{text}. {one.example} would do.",
        required=one.required,
        many=one.lines,
        enum=list(one.choices) or None,
    )


urlpatterns: list[URLPattern] = [
    path("figures/", FiguresView.as_view(), name="api-figures"),
    *(path(f"figures/{name}", FigureView.as_view(calculator=one), name=f"api-figure-{name}") for name, one in CALCULATORS.items()),
    path("figures/<str:name>", NoFigureView.as_view(), name="api-figure"),
]

"""Bench figures: every calculator alone."""

from collections.abc import Mapping, Sequence
from itertools import groupby
from operator import attrgetter

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils.http import urlencode
from django.views.decorators.http import require_GET

from buildplan.figures.calculator import Answer, Row
from buildplan.figures.calculators import CALCULATORS, GROUPS
from buildplan.figures.forms import FigureForm
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest


@require_GET
@members_only
def figures(request: MemberRequest) -> HttpResponse:
    """All calculators, by what they are of."""
    return render(request, "figures/list.html", {"groups": GROUPS})


@require_GET
@members_only
def figure(request: MemberRequest, name: str) -> HttpResponse:
    """One calculator: its form, and where the address says what to reckon with, the result with its reasons."""
    if (calculator := CALCULATORS.get(name)) is None:
        raise Http404
    asked = any(one.name in request.GET for one in calculator.inputs)
    form = FigureForm(calculator, request.GET if asked else None)
    right = not asked or form.is_valid()
    context = {
        "calculator": calculator,
        "form": form,
        "answer": form.answer,
        "results": [] if form.answer is None else _results(form.answer),
        "given": "" if form.answer is None else _query(form.answer.inputs),
        "example": _query(calculator.example),
    }
    return render(request, "figures/figure.html", context, status=None if right else 400)


def _results(answer: Answer) -> list[tuple[str, list[Row]]]:
    """Rows of one name stand together, as inches and millimetres do."""
    labels = answer.calculator.results
    return [(labels[name], list(rows)) for name, rows in groupby(answer.found.rows, key=attrgetter("name"))]


def _query(inputs: Mapping[str, Sequence[str]]) -> str:
    return urlencode(inputs, doseq=True)

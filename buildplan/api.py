"""Addresses of the API: wiring only."""

from django.urls import path

from buildplan.figures import api as figures
from buildplan.records.api import StepView
from buildplan.shortfall.api import PinsView, ShortfallView

urlpatterns = [
    path("projects/<path:code>/shortfall", ShortfallView.as_view(), name="api-shortfall"),
    path("projects/<path:code>/step", StepView.as_view(), name="api-step"),
    path("projects/<path:code>/pins", PinsView.as_view(), name="api-pins"),
    *figures.urlpatterns,
]

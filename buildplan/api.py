"""Addresses of the API: wiring only."""

from django.urls import path

from buildplan.figures import api as figures
from buildplan.shortfall.api import ShortfallView

urlpatterns = [
    path("projects/<path:code>/shortfall", ShortfallView.as_view(), name="api-shortfall"),
    *figures.urlpatterns,
]

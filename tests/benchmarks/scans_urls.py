"""The site's addresses and, for tests.benchmarks.scans, a bare insert behind the same token."""

from django.urls import path
from rest_framework import serializers
from rest_framework.generics import CreateAPIView

from buildplan.site.urls import urlpatterns as site
from inventory.models import Scan
from inventory.workshop.request import caller


class BareIn(serializers.ModelSerializer):
    """One row, as sent."""

    class Meta:
        model = Scan
        fields = ("uuid", "code", "action", "at")


class BareView(CreateAPIView):
    """What DRF takes to insert one row: nothing is looked up, nothing moves, nothing is kept from happening twice."""

    queryset = Scan.objects.none()
    serializer_class = BareIn
    scopes = {"POST": "scan"}

    def perform_create(self, serializer):
        by = caller(self.request)
        kept = {"outcome": "done", "status": 200, "answer": {}, "fingerprint": ""}
        serializer.save(workshop_id=by.workshop_id, member=by, device=self.request.device, **kept)


urlpatterns = [path("api/v1/bare", BareView.as_view()), *site]
